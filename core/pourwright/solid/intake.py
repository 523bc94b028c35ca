"""From whatever the user modelled to one watertight solid, or to a reason why not."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from pourwright.errors import MeshError
from pourwright.progress import Progress, silent
from pourwright.solid import boolean
from pourwright.solid.contacts import GAP_MM, open_contacts
from pourwright.solid.crosscheck import Difference, self_overlaps, union_error
from pourwright.solid.mesh import TriMesh, tri_mesh
from pourwright.solid.protect import painted
from pourwright.solid.shells import bodies, closed_shells
from pourwright.solid.solid import Finding, Solid

# Volume that a surface may wrap wrongly before the model is refused.
MAX_WRONG_SHARE = 0.01
# Below this share a difference is rounding of the measuring lines, not of the model.
_NOISE_SHARE = 1e-6
# Lines per side of the cross-check's square, for a body of at least this share of all bodies; for
# one that was found to cross itself, whose share is told; and for the whole.
_BODY_LINES = ((0.25, 128), (0.01, 64), (0.0, 16))
_FOLD_LINES, _WHOLE_LINES = 512, 128
# Casting figures are between these sizes; others are probably in another unit.
_SMALL_MM, _LARGE_MM = 3.0, 1000.0


def intake(
    meshes: Sequence[TriMesh], findings: Sequence[Finding] = (), progress: Progress = silent
) -> Solid:
    """Unite the user's meshes into one watertight solid.

    meshes : one or many, each of one or many closed shells in any overlap, standing frame, mm.
    findings : what reading the files already found; kept in front.

    Overlapping shells become their union, voids stay hollow, shells that are inside out are
    turned and reported; protect weights become the solid's protection. Raises MeshError, naming
    the finding and the place, for surfaces that are open, cross themselves by more than 1 % of the
    volume, are flat, empty or not finite.
    """
    if not meshes:
        raise MeshError("There is no mesh", hint="give a model or select an object", kind="empty")
    notes = list(findings)
    checked: list[TriMesh] = []
    all_bodies: list[TriMesh] = []
    shell_count = 0
    for i, raw in enumerate(meshes):
        progress(0.4 * i / len(meshes), f"Reading shells of '{raw.name}'")
        mesh = tri_mesh(raw.vertices, raw.faces, raw.name, raw.protect)
        checked.append(mesh)
        split = closed_shells(mesh)
        shell_count += len(split.shells)
        found, turned = bodies(split.shells, mesh.name)
        notes += [*split.findings, *turned]
        all_bodies += found
    for body, fold in _folds(all_bodies):
        _refuse_folds(body, fold, notes)
    progress(0.5, f"Uniting {len(all_bodies)} bodies")
    name = meshes[0].name if len(meshes) == 1 else f"{meshes[0].name} and {len(meshes) - 1} more"
    united = boolean.union(all_bodies, name)
    progress(0.85, "Cross-checking the volume")
    wrong = union_error(all_bodies, united, _WHOLE_LINES)
    if wrong.share > MAX_WRONG_SHARE:
        raise MeshError(
            f"The union of the parts is off by {wrong.share:.1%} against an independent measure",
            hint="look for faces that cross each other there",
            at_mm=wrong.at_mm,
            kind="union_mismatch",
        )
    united, touching = open_contacts(united)
    if touching:
        notes.append(
            Finding(
                "touching",
                f"The figure touches itself along edges or at corners only, at {len(touching)} "
                f"vertices; they were drawn {GAP_MM} mm apart",
                touching[0],
            )
        )
    solid = _describe(united, shell_count, sum(len(m.faces) for m in meshes), notes)
    progress(1.0, "Figure is one solid")
    return replace(solid, protection=painted(checked))


def _folds(bodies: Sequence[TriMesh]) -> Iterator[tuple[TriMesh, Difference]]:
    """How far each body crosses itself; small ones are measured by fewer lines."""
    volumes = np.array([b.volume_mm3 for b in bodies])
    left = np.ones(len(bodies), dtype=bool)
    for least, lines in _BODY_LINES:
        chosen = left & (volumes >= least * volumes.sum())
        left &= ~chosen
        some = list(itertools.compress(bodies, chosen))
        for body, fold in zip(some, self_overlaps(some, lines), strict=True):
            if fold.share > _NOISE_SHARE:
                # A narrow fold is met by few lines: so many say how much it is.
                (closer,) = self_overlaps([body], _FOLD_LINES)
                yield body, max(fold, closer, key=lambda f: f.share)
            else:
                yield body, fold


def _refuse_folds(body: TriMesh, fold: Difference, notes: list[Finding]) -> None:
    if fold.share > MAX_WRONG_SHARE:
        raise MeshError(
            f"'{body.name}' crosses itself: {fold.share:.1%} of its volume is wrapped twice or "
            "inside out",
            hint="separate the crossing parts into shells of their own, or remesh",
            at_mm=fold.at_mm,
            kind="self_overlap",
        )
    if fold.share > _NOISE_SHARE:
        notes.append(
            Finding(
                "self_overlap",
                f"'{body.name}' crosses itself a little ({fold.share:.2%} of its volume); volumes "
                "may be off by as much",
                fold.at_mm,
            )
        )


def _describe(united: TriMesh, shells: int, triangles: int, notes: list[Finding]) -> Solid:
    parts = sorted(
        (p for p in boolean.pieces(united) if p.volume_mm3 > 0), key=lambda p: -p.volume_mm3
    )
    if len(parts) > 1:
        notes.append(
            Finding(
                "separate_parts",
                f"The figure falls into {len(parts)} separate parts; the smallest holds "
                f"{parts[-1].volume_mm3:.3g} mm3",
                tuple(parts[-1].bounds_mm.mean(axis=0)),
            )
        )
    size = float(np.ptp(united.bounds_mm, axis=0).max())
    if not _SMALL_MM <= size <= _LARGE_MM:
        notes.append(
            Finding(
                "unit_suspected",
                f"The figure is {size:.3g} mm across; is the unit right?",
            )
        )
    return Solid(united, united.volume_mm3, shells, triangles, len(parts), tuple(notes))
