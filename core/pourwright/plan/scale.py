"""How much larger than the figure its master is, so that casts come out at the figure's size."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from pourwright.checks import check_number
from pourwright.errors import Point
from pourwright.plan.job import Job
from pourwright.shop.shrinkage import master_scale
from pourwright.solid.mesh import TriMesh
from pourwright.solid.protect import Protection
from pourwright.solid.solid import Solid


@dataclass(frozen=True)
class MasterScale:
    """What shrinks, and what was done about it.

    factor : how many times as large as the figure the master has to be. applied : whether it is.
    about_mm : point that stays where it is. resin, rubber : shares of length that are lost; the
    resin's is None where nobody knows, which counts as nothing.
    """

    factor: float
    applied: bool
    about_mm: Point
    resin: float | None
    rubber: float

    @property
    def used(self) -> float:
        """How many times as large as the figure the master is."""
        return self.factor if self.applied else 1.0


def scale_of(figure: TriMesh, job: Job) -> MasterScale:
    """Return the scale for a job's materials; it is never applied to a figure that exists."""
    settings = job.shrinkage
    resin = job.resin.linear_shrinkage if settings.resin is None else settings.resin
    x, y, z = (float(c) for c in figure.bounds_mm.mean(axis=0))
    return MasterScale(
        factor=master_scale(resin or 0.0, settings.rubber),
        applied=settings.scale_master and not job.socket.enabled,
        about_mm=(x, y, z),
        resin=resin,
        rubber=settings.rubber,
    )


def scaled(mesh: TriMesh, scale: float, about_mm: Sequence[float] = (0.0, 0.0, 0.0)) -> TriMesh:
    """Return the mesh `scale` times as large, about a point that stays where it is.

    Raises InputError for a scale out of range.
    """
    check_number("The scale of the master", scale, 0.5, 2.0)
    about = np.asarray(about_mm, dtype=np.float64)
    return replace(mesh, vertices=about + scale * (mesh.vertices - about))


def moulded(solid: Solid, scale: MasterScale) -> tuple[TriMesh, Protection | None]:
    """Return the figure as it is in the master, and what of it is protected."""
    if scale.used == 1.0:
        return solid.mesh, solid.protection
    mesh, protection = scaled(solid.mesh, scale.used, scale.about_mm), solid.protection
    if protection is not None:
        about = np.array(scale.about_mm)
        points = about + scale.used * (protection.points_mm - about)
        protection = replace(protection, points_mm=points)
    return mesh, protection
