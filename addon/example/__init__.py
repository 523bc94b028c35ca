"""A figure to try things on, from Blender's own menu Add > Mesh."""

from .operators import classes, register, unregister

__all__ = ["classes", "register", "unregister"]
