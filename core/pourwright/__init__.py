"""Pourwright: a sculpted figure in, a printable, vented, sprued casting master out.

Lengths are millimetres, arrays are float64, and +Z is up as the figure stands on the bench.
"""

__version__ = "0.1.0"
