"""One gate after the other: where it stands, how wide it has to be, and its body."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from pourwright.gates.explain import why_not
from pourwright.gates.find import LatePart
from pourwright.gates.network import Link, Network, fill
from pourwright.gates.settings import Gate, GateSettings
from pourwright.gates.site import Ground, contacts, rod_settings, site_for, standable, towards
from pourwright.gates.ways import routed
from pourwright.shop.flow import Section, flow_under_head, resistance_per_mm3
from pourwright.solid.mesh import Floats, Ints, TriMesh
from pourwright.vents.field import Rod
from pourwright.vents.place import angle_deg, body_of, head_mm, point_of
from pourwright.vents.site import Site

# Diameters are rounded up to this, mm.
_STEP_MM = 0.1
# Slices of a part that are tried as the place of its gate.
_TRIED = 40
# Of what the best place fills in time, this share is as good.
_AS_GOOD = 0.98
# Of the least time through the widest gate: places with up to this are as good.
_NEARLY = 1.15
# A gate that cannot fill its part in time is worth its scar if it takes this share of the time.
_WORTH = 0.5
_HALVINGS = 12


@dataclass(frozen=True, eq=False)
class Standing:
    """A gate that stands: its rod (pour frame), body, width, channel and what it is for."""

    rod: Rod
    body: TriMesh
    diameter_mm: float
    link: Link
    late: LatePart
    fills: Ints


class Founder:
    """Finds gates one after the other.

    standing : those that stand. filling : of the inside with these.
    """

    def __init__(self, net: Network, found: Ground, settings: GateSettings, limit_s: float):
        self.net, self.ground, self.settings = net, found, settings
        self.limit_s = limit_s
        self.standing: list[Standing] = []
        self.filling = fill(net)

    def serve(self, late: LatePart) -> str:
        """Put up a gate for a part; returns why that is not enough or why there is none, or ""."""
        feet = standable(self.ground, late.slices)
        if len(feet) == 0:
            return (
                "it has no face that looks up while it is poured, on which a gate could stand: "
                "tilt the pour, or join it to the figure"
            )
        fed = np.flatnonzero(self.filling.time_s <= self.limit_s)
        fed = np.setdiff1d(fed, late.slices)
        if len(fed) == 0:
            return "nothing else of the cavity fills in time, so no gate can feed it"
        feet, width = self._places(late, feet)
        before = self.filling.time_s[late.late].max()
        while True:
            gates = [s.body for s in self.standing]
            site = site_for(self.ground, self.settings, gates, width)
            site = towards(site, self.ground, fed, feet)
            rod = routed(site, feet, width / 2)
            if rod is None:
                return why_not(site, feet, width, self.settings)
            start = int(self.ground.slice_of_vertex[rod.contact])
            end = int(self.ground.slice_of_face[rod.landing])
            # The way may be longer than it was guessed, and ask for a wider gate, which may go
            # another way; the widths only grow.
            needed, fills = self._width(late, start, end, _length_mm(rod.path))
            if needed <= width:
                break
            width = needed
        link = Link(end, start, self._resistance(needed, _length_mm(rod.path)))
        after = self._times([link])[late.late].max()
        slow = (
            f"a gate of {needed:.2g} mm would fill it in {after:.0f} s instead of "
            f"{self.limit_s:.0f} s: take a resin that is thinner or sets later, or a wider gate"
        )
        if len(fills) or after <= _WORTH * before:
            rod = replace(rod, radius_mm=needed / 2)
            self._put_up(site, rod, needed, link, late, fills)
            slow = slow.replace("would fill", "fills")
        return "" if len(fills) else slow

    def _put_up(
        self, site: Site, rod: Rod, width: float, link: Link, late: LatePart, fills: Ints
    ) -> None:
        foot = rod.path[0] - self.settings.overlap_mm * site.normals[rod.contact]
        wall = float(site.walls_beyond_mm(rod.path[-1:])[0])
        body = body_of(
            rod.path, foot, width / 2, head_mm(site, rod, wall), rod_settings(self.settings, width),
            np.eye(3), np.zeros(3), f"gate {len(self.standing) + 1}",
        )  # fmt: skip
        self.standing.append(Standing(rod, body, width, link, late, fills))
        self.filling = fill(self.net, [s.link for s in self.standing])

    def _times(self, more: list[Link]) -> Floats:
        return fill(self.net, [*(s.link for s in self.standing), *more]).time_s

    def _sections(self, diameter_mm: float, length_mm: float) -> list[Section]:
        neck = min(self.settings.neck_length_mm, length_mm / 2)
        thin = self.settings.neck_share * diameter_mm
        return [Section(thin, neck), Section(diameter_mm, length_mm - neck)]

    def _resistance(self, diameter_mm: float, length_mm: float) -> float:
        return resistance_per_mm3(self._sections(diameter_mm, length_mm))

    def _width(
        self, late: LatePart, start: int, end: int, length_mm: float
    ) -> tuple[float, Ints]:
        """Least diameter that will do, and the slices that are then full in time.

        These are all that the widest gate can fill in time, whatever else stays late.
        """

        every = np.concatenate([late.late, late.neck])

        def in_time(diameter_mm: float) -> np.ndarray:
            link = Link(end, start, self._resistance(diameter_mm, length_mm))
            return self._times([link])[every] <= self.limit_s

        low, high = self.settings.least_mm, self.settings.most_mm
        can = in_time(high)
        if not can[: len(late.late)].any():
            return high, np.empty(0, dtype=np.int64)
        if in_time(low)[can].all():
            return low, every[can]
        for _ in range(_HALVINGS):
            middle = (low + high) / 2
            low, high = (low, middle) if in_time(middle)[can].all() else (middle, high)
        rounded = math.ceil(high / _STEP_MM - 1e-6) * _STEP_MM
        return min(rounded, self.settings.most_mm), every[can]

    def _places(self, late: LatePart, feet: Ints) -> tuple[Ints, float]:
        """Where a gate does most, the cheapest places first, and about how wide it has to be."""
        slices = self.net.slices
        of_foot = self.ground.slice_of_vertex[feet]
        choices = np.unique(of_foot)
        if len(choices) > _TRIED:
            choices = choices[np.linspace(0, len(choices) - 1, _TRIED).astype(int)]
        source = int(np.flatnonzero(slices.source)[0])
        length = np.maximum(self.ground.base_z_mm - slices.top_mm[choices], 1.0)
        volume = slices.volume_mm3[late.late]
        done, slowest = np.zeros(len(choices)), np.zeros(len(choices))
        for i, choice in enumerate(choices):
            link = Link(
                source, int(choice), self._resistance(self.settings.most_mm, float(length[i]))
            )
            time = self._times([link])[late.late]
            done[i], slowest[i] = volume[time <= self.limit_s].sum(), time.max()
        # Elsewhere the part's own thin places would ask for a wider gate.
        good = done >= _AS_GOOD * done.max()
        good &= slowest <= _NEARLY * slowest[good].min()
        best = int(np.argmin(np.where(good, slowest, np.inf)))
        width, _ = self._width(late, int(choices[best]), source, float(length[best]))
        usable = feet[np.isin(of_foot, choices[good])]
        return contacts(self.ground, usable, slices, width), width

    def gates(self) -> tuple[Gate, ...]:
        """The gates as data, standing frame."""
        made = []
        centre, axes = self.ground.report.surface.centre_mm, self.ground.axes
        top = float(self.ground.coords[:, 2].max())
        for one in self.standing:
            length = _length_mm(one.rod.path)
            sections = self._sections(one.diameter_mm, length)
            flow = flow_under_head(sections, self.net.liquid, top - float(one.rod.path[0, 2]))
            mine = one.fills if len(one.fills) else one.late.late
            made.append(
                Gate(
                    path_mm=tuple(point_of(p) for p in one.rod.path @ axes + centre),
                    diameter_mm=one.diameter_mm,
                    length_mm=length,
                    neck_mm=sections[0].diameter_mm,
                    neck_length_mm=sections[0].length_mm,
                    web_mm=one.rod.web_mm,
                    feeds=one.late.part,
                    fill_time_s=float(self.filling.time_s[mine].max()),
                    reynolds=flow.reynolds,
                    laminar=flow.laminar,
                    notes=flow.notes,
                    foot_angle_deg=angle_deg(
                        one.rod.path[1] - one.rod.path[0],
                        self.ground.normals[one.rod.contact],
                    ),
                    end_angle_deg=angle_deg(
                        one.rod.path[-1] - one.rod.path[-2],
                        -self.ground.report.surface.area_vectors[one.rod.landing] @ axes.T,
                    ),
                )
            )
        return tuple(made)

    def bodies(self) -> tuple[TriMesh, ...]:
        """Closed bodies of the gates, standing frame."""
        centre, axes = self.ground.report.surface.centre_mm, self.ground.axes
        return tuple(
            TriMesh(s.body.vertices @ axes + centre, s.body.faces, s.body.name)
            for s in self.standing
        )


def _length_mm(path: Floats) -> float:
    return float(np.linalg.norm(np.diff(path, axis=0), axis=1).sum())
