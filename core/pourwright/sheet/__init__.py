"""The pour sheet: what goes to the bench on paper, one HTML file that prints to two pages."""

from pourwright.sheet.sheet import PAPERS, sheet_html

__all__ = ["PAPERS", "sheet_html"]
