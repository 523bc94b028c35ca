"""Parts of a file that close only together: readers cut surfaces where the material changes."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pourwright.solid import topology, weld
from pourwright.solid.mesh import TriMesh, concatenate


def joined_parts(parts: Sequence[TriMesh], name: str) -> list[TriMesh]:
    """Put those parts of a file that are open by themselves together as one mesh.

    name : for that mesh. Closed parts stay what they are, and so does a single open one; whether
    the rest closes is for intake to say.
    """
    if len(parts) < 2:
        return list(parts)
    is_open = [_is_open(part) for part in parts]
    loose = [part for part, o in zip(parts, is_open, strict=True) if o]
    if len(loose) < 2:
        return list(parts)
    closed = [part for part, o in zip(parts, is_open, strict=True) if not o]
    return [concatenate(loose, name), *closed]


def _is_open(part: TriMesh) -> bool:
    if not np.isfinite(part.vertices).all():
        return False  # nothing can be welded; intake will name it
    vertices, faces = weld.weld_exact(part.vertices, part.faces)
    faces = weld.drop_collapsed(faces)
    return len(faces) == 0 or bool((topology.twins(vertices, faces) == topology.NONE).any())
