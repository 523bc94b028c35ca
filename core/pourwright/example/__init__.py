"""An example figure from code, and the tools it is sculpted with; numpy is all they need."""

from .shapes import Part
from .snail import snail

__all__ = ["Part", "snail"]
