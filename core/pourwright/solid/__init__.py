"""Meshes in, one watertight solid out, or a named reason why not."""

from pourwright.solid.intake import intake
from pourwright.solid.mesh import TriMesh, tri_mesh
from pourwright.solid.read import MM_PER_UNIT, read_models
from pourwright.solid.solid import Finding, Solid

__all__ = ["MM_PER_UNIT", "Finding", "Solid", "TriMesh", "intake", "read_models", "tri_mesh"]
