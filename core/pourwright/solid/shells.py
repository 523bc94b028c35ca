"""Closed shells of one mesh, sorted out into bodies: solids with their voids."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pourwright.errors import MeshError
from pourwright.solid import topology, weld
from pourwright.solid.columns import frame, hits
from pourwright.solid.mesh import Floats, Ints, TriMesh, concatenate
from pourwright.solid.solid import Finding
from pourwright.solid.vectors import dot, doubled_areas

# A vertex on an open boundary may be this share of the diagonal off its partner.
_NEAR = 1e-5
# A shell thinner than this (volume over area times diagonal) has no inside to cast.
_THIN = 1e-9
# Volume of a thin shell that may be left out, as a share of the others'.
_NEGLIGIBLE = 1e-6
_PROBES = 5


@dataclass(frozen=True, eq=False)
class Shells:
    """Closed shells of one mesh, and what was noticed."""

    shells: tuple[TriMesh, ...]
    findings: tuple[Finding, ...]


def closed_shells(mesh: TriMesh) -> Shells:
    """Weld `mesh` and split it into closed, consistently wound shells.

    Raises MeshError (kinds open_boundary, non_manifold_edge, one_sided, zero_thickness) with the
    place where the surface bounds no solid.
    """
    findings: list[Finding] = []
    vertices, faces = weld.weld_exact(mesh.vertices, mesh.faces)
    faces = weld.drop_collapsed(faces)
    if len(faces) == 0:
        raise _flat(mesh)
    if not weld.all_distinct(faces):
        faces = _single_sides(mesh, vertices, faces, findings)
    twin = topology.twins(vertices, faces)
    if (twin == topology.NONE).any():
        vertices, faces, twin = _mend_small_gaps(mesh, vertices, faces, twin, findings)
        if len(faces) == 0:
            raise _flat(mesh)
    if (twin == topology.NONE).any():
        faces, twin = _turn_faces(mesh, vertices, faces, findings)
    vertices, faces, _ = topology.unweld(vertices, faces, twin)
    count, label = topology.face_components(twin)
    shells = []
    parts = _split(vertices, faces, count, label, mesh.name)
    thin = [_is_thin(part) for part in parts]
    # A needle of any length may be thin and still hold much of the figure.
    whole = sum(abs(p.volume_mm3) for p, flat in zip(parts, thin, strict=True) if not flat)
    for part, flat in zip(parts, thin, strict=True):
        if flat and not abs(part.volume_mm3) > _NEGLIGIBLE * whole > 0:
            at = tuple(part.bounds_mm.mean(axis=0))
            findings.append(
                Finding("zero_thickness", f"'{mesh.name}': a shell without volume left out", at)
            )
        else:
            shells.append(part)
    if not shells:
        raise _flat(mesh)
    return Shells(tuple(shells), tuple(findings))


def _single_sides(
    mesh: TriMesh, vertices: Floats, faces: Ints, findings: list[Finding]
) -> Ints:
    """Keep one of repeated triangles, and none of two that lie back to back.

    Raises MeshError where nothing else is there.
    """
    single = weld.drop_repeated(faces)
    if len(single) < len(faces):
        gone = len(faces) - len(single)
        findings.append(
            Finding("repeated_faces", f"'{mesh.name}': {gone} triangles lay there twice; one kept")
        )
    kept = weld.drop_back_to_back(single)
    if len(kept) == len(single):
        return kept
    at = tuple(vertices[single].mean(axis=(0, 1)))
    if len(kept) == 0:
        raise MeshError(
            f"'{mesh.name}': every triangle has another one back to back; they enclose nothing",
            hint="delete the inner or the outer side of each face, or give the sheet thickness",
            at_mm=at,
            kind="zero_thickness",
        )
    findings.append(
        Finding(
            "zero_thickness",
            f"'{mesh.name}': {len(single) - len(kept)} triangles lie back to back in pairs, which "
            "enclose nothing; left out",
            at,
        )
    )
    return kept


def bodies(shells: tuple[TriMesh, ...], name: str) -> tuple[list[TriMesh], list[Finding]]:
    """Pair voids with the solids that hold them and turn inverted shells.

    Returns one mesh per body (an outward shell with the voids right inside it) and the findings.
    """
    volume = np.array([s.volume_mm3 for s in shells])
    inside = _containment(shells) & (np.abs(volume)[:, None] < np.abs(volume)[None, :])
    findings: list[Finding] = []
    sign = np.sign(volume).astype(int)
    outer = ~inside.any(axis=1)
    # An outermost shell that faces inwards is inverted, and a file inverted as a whole has its
    # voids inverted with it.
    for s in np.flatnonzero(outer & (sign < 0)):
        nest = inside[:, s] & ~(inside[:, outer & (sign > 0)].any(axis=1))
        sign[s] = 1
        sign[nest] = -sign[nest]
        _report_turned(findings, shells[s], name, int(nest.sum()))
    innermost = np.full(len(shells), -1)
    for s in np.flatnonzero(~outer):
        holders = np.flatnonzero(inside[s])
        innermost[s] = holders[np.argmin(np.abs(volume[holders]))]
    # A shell facing inwards that lies in a void holds nothing: it is a solid turned inside out.
    for s in np.argsort(-np.abs(volume)):
        if sign[s] < 0 and sign[innermost[s]] < 0:
            sign[s] = 1
            _report_turned(findings, shells[s], name, 0)
    turned = [
        TriMesh(m.vertices, m.faces[:, ::-1] if np.sign(v) != want else m.faces, m.name)
        for m, v, want in zip(shells, volume, sign, strict=True)
    ]
    result = []
    for s in np.flatnonzero(sign > 0):
        voids = np.flatnonzero((sign < 0) & (innermost == s))
        parts = [turned[s], *(turned[v] for v in voids)]
        result.append(parts[0] if len(parts) == 1 else concatenate(parts, name))
    return result, findings


def _report_turned(findings: list[Finding], shell: TriMesh, name: str, nested: int) -> None:
    more = f", with {nested} shells inside it" if nested else ""
    findings.append(
        Finding(
            "inverted_shell",
            f"'{name}': a shell was inside out and has been turned{more}",
            tuple(shell.bounds_mm.mean(axis=0)),
        )
    )


def _containment(shells: tuple[TriMesh, ...]) -> np.ndarray:
    """(n, n) bool: shell i lies inside shell j, by a vote of a few of its face middles."""
    n = len(shells)
    if n == 1:
        return np.zeros((1, 1), dtype=bool)
    whole = concatenate(list(shells))
    owner = np.repeat(np.arange(n), [len(s.faces) for s in shells])
    probes = []
    for s in shells:
        pick = np.linspace(0, len(s.faces) - 1, _PROBES).astype(int)
        probes.append(s.vertices[s.faces[pick]].mean(axis=1))
    turn = frame(np.array([0.31, 0.22, 0.93])).T
    points = np.concatenate(probes) @ turn
    found = hits(whole.vertices @ turn, whole.faces, points[:, :2])
    over = found.z > points[found.line, 2]
    # Pairs of probe and shell that meet at all; the whole table would not do for many shells.
    pair, place = np.unique(
        found.line[over] * n + owner[found.triangle[over]], return_inverse=True
    )
    winding = np.bincount(place.reshape(-1), weights=found.up[over], minlength=len(pair))
    pair = pair[winding != 0]
    nested, votes = np.unique(pair // n // _PROBES * n + pair % n, return_counts=True)
    nested = nested[votes * 2 > _PROBES]
    inside = np.zeros((n, n), dtype=bool)
    inside[nested // n, nested % n] = True
    np.fill_diagonal(inside, False)
    return inside


def _flat(mesh: TriMesh) -> MeshError:
    return MeshError(
        f"'{mesh.name}' is flat: it encloses no volume",
        hint="give it thickness",
        at_mm=mesh.bounds_mm.mean(axis=0),
        kind="zero_thickness",
    )


def _split(
    vertices: Floats, faces: Ints, count: int, label: Ints, name: str
) -> list[TriMesh]:
    if count == 1:
        return [TriMesh(vertices, faces, name)]
    order = np.argsort(label, kind="stable")
    cuts = np.searchsorted(label[order], np.arange(1, count))
    parts = []
    for chosen in np.split(order, cuts):
        used, local = np.unique(faces[chosen], return_inverse=True)
        parts.append(TriMesh(vertices[used], local.reshape(-1, 3), name))
    return parts


def _is_thin(shell: TriMesh) -> bool:
    doubled = doubled_areas(shell.vertices, shell.faces)
    area = float(np.sqrt(dot(doubled, doubled)).sum()) / 2
    return abs(shell.volume_mm3) <= _THIN * area * shell.diagonal_mm


def _mend_small_gaps(
    mesh: TriMesh, vertices: Floats, faces: Ints, twin: Ints, findings: list[Finding]
) -> tuple[Floats, Ints, Ints]:
    """Weld boundary vertices that miss each other by rounding only."""
    loose = np.flatnonzero(twin == topology.NONE)
    start, end = faces.ravel()[loose], np.roll(faces, -1, axis=1).ravel()[loose]
    rim = np.unique(np.concatenate([start, end]))
    # Far below the length of the open edges themselves, else holes would be drawn shut.
    short = float(np.percentile(np.linalg.norm(vertices[start] - vertices[end], axis=1), 10))
    tolerance = min(_NEAR * mesh.diagonal_mm, 0.1 * short)
    near_v, near_f = weld.weld_near(vertices, faces, rim, tolerance)
    if len(near_v) == len(vertices):
        return vertices, faces, twin
    near_f = weld.drop_repeated(weld.drop_collapsed(near_f))
    findings.append(
        Finding(
            "near_vertices",
            f"'{mesh.name}': {len(vertices) - len(near_v)} vertices on open edges lay within "
            f"{tolerance:.2g} mm of another and were joined",
            tuple(vertices[rim[0]]),
        )
    )
    return near_v, near_f, topology.twins(near_v, near_f)


def _turn_faces(
    mesh: TriMesh, vertices: Floats, faces: Ints, findings: list[Finding]
) -> tuple[Ints, Ints]:
    """Mend disagreeing winding, or raise for what is left open."""
    wound = topology.consistent_winding(faces, len(vertices))
    if wound is not None:
        turned = wound[1]
        first = int(np.flatnonzero(turned)[0]) if turned.any() else 0
        twin = topology.twins(vertices, wound[0])
        if not (twin == topology.NONE).any():
            findings.append(
                Finding(
                    "mixed_winding",
                    f"'{mesh.name}': {int(turned.sum())} triangles faced the wrong way and have "
                    "been turned",
                    tuple(vertices[faces[first]].mean(axis=0)),
                )
            )
            return wound[0], twin
    raise _open_surface(mesh, vertices, faces)


def _open_surface(mesh: TriMesh, vertices: Floats, faces: Ints) -> MeshError:
    """Describe why a surface is not closed: its holes, or its crowded edges."""
    start, end = faces.ravel(), np.roll(faces, -1, axis=1).ravel()
    key = np.minimum(start, end) * np.int64(len(vertices)) + np.maximum(start, end)
    edges, count = np.unique(key, return_counts=True)
    a, b = edges // len(vertices), edges % len(vertices)
    single = count == 1
    if single.any():
        length = np.linalg.norm(vertices[a[single]] - vertices[b[single]], axis=1)
        n, loop = topology.graph_components(a[single], b[single], len(vertices))
        loops = np.bincount(loop, weights=length, minlength=n)
        worst = int(np.argmax(loops))
        rim = np.unique(np.concatenate([a[single][loop == worst], b[single][loop == worst]]))
        return MeshError(
            f"'{mesh.name}' is open: {n} hole{'s' if n > 1 else ''} with {int(single.sum())} open "
            f"edges, the longest rim {loops[worst]:.3g} mm",
            hint="close the holes, for example with Fill in edit mode",
            at_mm=vertices[rim].mean(axis=0),
            kind="open_boundary",
        )
    crowded = np.flatnonzero(count > 2)
    if len(crowded):
        e = crowded[0]
        return MeshError(
            f"'{mesh.name}' has {len(crowded)} edges where more than two faces meet and no inside "
            "can be told",
            hint="delete the faces inside the body there",
            at_mm=(vertices[a[e]] + vertices[b[e]]) / 2,
            kind="non_manifold_edge",
        )
    return MeshError(
        f"'{mesh.name}' has a shell with only one side",
        hint="remodel the twisted strip",
        at_mm=vertices[faces[0]].mean(axis=0),
        kind="one_sided",
    )
