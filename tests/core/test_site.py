"""What routes are judged by: where rods may start and land, and what that costs."""

from __future__ import annotations

import manifold3d
import numpy as np
import pytest

from pourwright.air import find_pockets, prepare, top_plane_vertices
from pourwright.shop.process import PROCESSES
from pourwright.solid import boolean
from pourwright.vents.needs import contact_vertices, find_needs
from pourwright.vents.settings import VentSettings
from pourwright.vents.site import Site, survey

Manifold = manifold3d.Manifold


def stem_with_two_balls() -> Manifold:
    """An upright stem, two balls on arms beside it, the lower one under a shelf."""
    body = Manifold.cylinder(40, 3, 3, 32)
    for side, height in ((1, 12.0), (-1, 20.0)):
        body += Manifold.sphere(5, 60).translate((side * 14, 0, height))
        body += Manifold.cube((14, 2, 2), False).translate((min(side, 0) * 14, -1, height - 4))
    return body + Manifold.cube((20, 10, 2), False).translate((0, -5, 26))


def site_of(body: Manifold, up: tuple[float, float, float], base_height_mm: float = 1e9) -> Site:
    mesh = boolean.refined(boolean.from_manifold(body, "body"), 1.0)
    axis = np.array(up) / np.linalg.norm(up)
    surface = prepare(mesh)
    openings = top_plane_vertices(surface, axis)
    report = find_pockets(surface, axis, openings)
    settings = VentSettings()
    needs, left = find_needs(report, openings, PROCESSES["open"])
    assert needs
    return survey(report, left, needs, settings, base_height_mm, None)


@pytest.mark.parametrize(("up", "needs"), [((0, 0, 1), 2), ((0.3, 0.1, 1.0), 3)])
def test_contacts_stand_apart_and_hold_the_peak(up, needs):
    site = site_of(stem_with_two_balls(), up)
    assert len(site.contacts) == needs
    for peak, contacts in site.contacts.items():
        assert contacts[0] == peak
        assert 2 <= len(contacts) <= 24
        apart = np.linalg.norm(site.coords[contacts][:, None] - site.coords[contacts], axis=2)
        assert apart[~np.eye(len(contacts), dtype=bool)].min() >= 0.5


def test_contacts_are_the_cheapest_places_of_the_air_above_which_nothing_shows():
    site = site_of(stem_with_two_balls(), (0, 0, 1))
    needs, _ = find_needs(site.report, top_plane_vertices(site.report.surface, site.report.tree.up),
                          PROCESSES["open"])
    for need in needs:
        allowed = contact_vertices(site.report, need)
        chosen = site.contacts[need.peak]
        assert np.isin(chosen, allowed).all()
        # Whatever is cheaper than the dearest chosen one stands too near to another.
        dearest = site.price[chosen[1:]].max()
        for vertex in np.setdiff1d(allowed[site.price[allowed] < dearest - 1e-12], chosen):
            gaps = np.linalg.norm(site.coords[chosen] - site.coords[vertex], axis=1)
            assert gaps.min() < 0.5


def test_what_faces_down_as_the_figure_stands_is_cheaper():
    """Poured sideways, mirrored places are as steep as each other; one of them is hidden."""
    site = site_of(Manifold.sphere(10, 80) + Manifold.sphere(3, 40).translate((8, 7, 0))
                   + Manifold.cylinder(30, 2, 2, 20, True).rotate((0, 90, 0)).translate((9, 0, 0)),
                   (1, 0, 0))
    standing = site.standing(site.coords)
    low = np.flatnonzero(standing[:, 2] < -2)
    mirrored = standing[low] * (1, 1, -1)
    gaps = np.linalg.norm(standing[None] - mirrored[:, None], axis=2)
    same = gaps.min(axis=1) < 1e-6
    assert same.sum() > 100
    high = gaps.argmin(axis=1)[same]
    lower, upper = site.price[low[same]], site.price[high]
    assert (lower < upper).mean() > 0.99
    assert (upper - lower).max() > 3.0


def test_landing_on_the_base_is_cheaper_than_on_the_figure_and_else_forbidden():
    site = site_of(stem_with_two_balls(), (0, 0, 1), base_height_mm=25.0)
    up = site.report.tree.up
    heights = (site.report.surface.vertices[site.report.surface.faces]
               + site.report.surface.centre_mm) @ up
    base = heights.max(axis=1) >= 25.0
    assert site.drained.any()
    assert (site.land_price[site.drained & base] == site.land_price[base].min()).all()
    figure = site.land_price[site.drained & ~base]
    assert len(figure) and figure.min() > site.land_price[base].min() + 40
    assert np.isinf(site.land_price[~site.drained]).all()
    facing = site.report.surface.area_vectors @ up
    assert (facing[site.drained] < 0).all()


def test_what_is_straight_above_a_contact():
    """Over the ball under the shelf that is the shelf's underside; over the other one nothing."""
    site = site_of(stem_with_two_balls(), (0, 0, 1))
    shift = float(site.report.surface.centre_mm[2])
    seen = []
    for peak in site.contacts:
        triangle, height = site.above[peak]
        seen.append(None if triangle < 0 else height + shift)
    assert sorted(seen, key=str) == [pytest.approx(26.0), None]
