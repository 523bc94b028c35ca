"""What a task hands back: its exit status, its data and its meshes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

DONE, UNDECIDED, REFUSED = 0, 1, 2

Json = dict[str, Any]
Result = tuple[int, Json, list["Part"]]


@dataclass(frozen=True, eq=False)
class Part:
    """A mesh of the result and what it is.

    values : a number for each of its faces, (m,), or None.
    """

    role: str
    index: int
    name: str
    mesh: Any
    values: Any = None

    def entry(self) -> Json:
        """Return what result.json says of it."""
        return {"name": self.name, "role": self.role, "index": self.index}


def materials_of(job: Json) -> Any:
    """Return the presets that a job chooses from by name: its folder's too, if it names one."""
    from pathlib import Path

    from pourwright.shop.materials import read_materials

    folder = job.get("materials")
    return read_materials(None if folder is None else Path(folder))
