"""Gates: what fills too slowly against the formulas, and rods that hold and are wide enough."""

from __future__ import annotations

import dataclasses
import functools
import math

import numpy as np
import pytest
import trimesh
from figures import export_figure
from gate_figures import BASE, THIN, TOP_MM, UP, ball, gates_of, on_base, rod
from shapes import as_mesh, box, together, turned_in

from blend_demo.heron import heron
from pourwright.air import find_pockets, prepare, top_plane_vertices
from pourwright.errors import Cancelled, InputError
from pourwright.gates import Gates, GateSettings
from pourwright.gates.find import late_parts, network_of, separate_bodies
from pourwright.gates.network import Filling, fill
from pourwright.gates.site import ground, site_for, towards
from pourwright.shop.flow import Liquid, Section, fill_time_s, head_pa
from pourwright.solid import TriMesh, boolean, fits, intake
from pourwright.solid.columns import frame
from pourwright.solid.topology import is_watertight

turned = trimesh.transformations.rotation_matrix


def filling(mesh: TriMesh, liquid: Liquid = THIN, pitch: float = 0.45, up=UP) -> Filling:
    axes = frame(up)
    return fill(network_of(mesh, axes, mesh.bounds_mm.mean(axis=0), liquid, pitch))


def worst_loss(mesh: TriMesh, pitch: float = 0.45) -> float:
    """Greatest loss: volume times resistance, summed on the way, mm3 / mm3."""
    return float(filling(mesh, pitch=pitch).loss.max())


def beyond_mm3(mesh: TriMesh) -> float:
    return boolean.difference(mesh, [BASE]).volume_mm3


def poiseuille(volume: float, *pieces: tuple[float, float]) -> float:
    """The same by hand: 128 L V / (pi d^4), for (diameter, length)."""
    return sum(128 * length * volume / (math.pi * d**4) for d, length in pieces)


class TestTimes:
    """Times to fill against Hagen and Poiseuille by hand."""

    @pytest.mark.parametrize(
        ("radius", "tilt"), [(0.6, 0), (0.6, 25), (1.0, 0), (1.0, 60), (1.5, 25), (1.5, 60)]
    )
    def test_a_ball_at_the_end_of_a_leg(self, radius, tilt):
        turn = turned(math.radians(tilt), (1, 0.3, 0))
        mesh = on_base(rod(radius, -1, 25), ball(8, 30), turn=turn)
        exposed = 30 - math.sqrt(64 - radius**2)
        by_hand = poiseuille(beyond_mm3(mesh), (2 * radius, exposed))
        assert worst_loss(mesh) == pytest.approx(by_hand, rel=0.25)

    def test_two_legs_side_by_side_take_half(self):
        body = box((-9, -4, 20), (9, 4, 28))
        one = on_base(rod(1.2, -1, 21, x=0), body)
        two = on_base(rod(1.2, -1, 21, x=-6), rod(1.2, -1, 21, x=6), body)
        ratio = worst_loss(two) / worst_loss(one)
        assert ratio == pytest.approx(0.5 * beyond_mm3(two) / beyond_mm3(one), rel=0.15)

    def test_necks_in_a_row_add_up(self):
        first, second = rod(1.0, -1, 11), rod(1.0, 19, 31)
        mesh = on_base(first, ball(5, 14.9), second, ball(5, 34.9))
        last = 4 / 3 * math.pi * 5**3
        exposed = 10 - 0.1  # from the base, or the first ball, to the next ball
        by_hand = poiseuille(beyond_mm3(mesh), (2.0, exposed)) + poiseuille(last, (2.0, 10.2))
        assert worst_loss(mesh) == pytest.approx(by_hand, rel=0.25)

    def test_the_fourth_power(self):
        losses = [worst_loss(on_base(rod(r, -1, 25), ball(8, 30))) for r in (1.0, 2.0)]
        assert losses[0] / losses[1] == pytest.approx(16, rel=0.3)

    @pytest.mark.parametrize(("width", "thick"), [(6.0, 1.0), (12.0, 1.5), (2.0, 2.0)])
    def test_a_flat_neck_conducts_at_most_and_not_much_under_its_due(self, width, thick):
        """Slit of finite width (F. M. White, Viscous Fluid Flow, from memory)."""
        neck = box((-width / 2, -thick / 2, -1), (width / 2, thick / 2, 21))
        mesh = on_base(neck, box((-7, -7, 20), (7, 7, 30)), turn=turned(0.3, (0, 0, 1)))
        share = thick / width
        conducts = width * thick**3 / 12 * (1 - 0.63 * share + 0.052 * share**5)
        by_hand = 20 * beyond_mm3(mesh) / conducts
        assert 0.7 * by_hand < worst_loss(mesh) < 2.7 * by_hand

    def test_time_is_loss_against_the_head_and_goes_with_viscosity(self):
        mesh = on_base(rod(1.0, -1, 25), ball(8, 30))
        one, other = filling(mesh, THIN), filling(mesh, dataclasses.replace(THIN, viscosity_pa_s=4))
        np.testing.assert_allclose(other.time_s, 50 * one.time_s, rtol=1e-9)
        # At the ball's far end the head is greatest: 38 + 6 mm.
        last = int(np.argmax(one.loss))
        head = THIN.viscosity_pa_s * one.loss[last] / one.time_s[last]
        assert head_pa(1100.0, 20.0) < head < head_pa(1100.0, 44.0)

    def test_the_grid_and_the_direction_hardly_matter(self):
        mesh = on_base(rod(1.1, -1, 25), ball(8, 30))
        turn = turned(0.7, (1, 2, 0.5))[:3, :3]
        moved = TriMesh(mesh.vertices @ turn.T + [100.0, -40.0, 7.0], mesh.faces, "moved")
        by_hand = poiseuille(beyond_mm3(mesh), (2.2, 30 - math.sqrt(64 - 1.1**2)))
        assert worst_loss(mesh, pitch=0.6) == pytest.approx(by_hand, rel=0.25)
        assert filling(moved, up=turn @ UP).loss.max() == pytest.approx(by_hand, rel=0.25)

    def test_volumes_are_those_of_the_mesh(self):
        mesh = on_base(rod(0.9, -1, 25), ball(8, 30))
        net = network_of(mesh, frame(UP), np.zeros(3), THIN, 0.5)
        assert net.slices.volume_mm3.sum() == pytest.approx(mesh.volume_mm3, rel=2e-3)
        assert net.slices.source.any()

    def test_a_hair_thinner_than_the_grid_is_slow_but_no_gap(self):
        mesh = on_base(rod(0.1, -1, 21), ball(4, 24))
        times = filling(mesh, pitch=0.7).time_s
        assert np.isfinite(times).all()
        assert times.max() > 60

    def test_a_hollow_is_no_way(self):
        """A body in a closed hollow is apart; the hollow itself holds no resin."""
        hollow = together(ball(12, 11), turned_in(ball(9, 11)), ball(4, 11))
        mesh = on_base(hollow)
        bodies = separate_bodies(mesh)
        inner = as_mesh(ball(4, 11)).volume_mm3
        assert [b.volume_mm3 for b in bodies] == pytest.approx([mesh.volume_mm3 - inner, inner])
        assert np.isinf(filling(mesh).time_s).any()


class TestWellFed:
    """Figures that need no gate get none."""

    def test_a_plain_cross(self):
        cross = [box((-4, -4, -1), (4, 4, 50)), box((-20, -3, 30), (20, 3, 36))]
        found = gates_of(on_base(*cross))
        assert (found.gates, found.bodies, found.parts, found.blocked) == ((), (), (), ())
        assert 0 < found.slowest_s < 5
        assert found.limit_s == pytest.approx(45.0)

    def test_the_figure_of_the_command_line_tests(self, tmp_path, monkeypatch):
        monkeypatch.chdir(tmp_path)
        solid = intake([as_mesh(trimesh.load(name)) for name in export_figure()])
        figure = solid.mesh.moved(np.array([0.0, 0.0, 21.5]))
        assert gates_of(boolean.union([BASE, figure])).parts == ()

    def test_the_demo_heron_fills_through_its_thin_leg(self):
        """6.6 ml behind a leg 2.4 mm wide: most of what is allowed for a fast resin, not all."""
        parts = [TriMesh(p.vertices, p.faces.astype(np.int64), p.name) for p in heron(0.2)]
        board, mouth = box((-28, -42, -6), (36, 42, 1)), box((-8, -8, -21), (8, 8, -5))
        mesh = boolean.union([as_mesh(board), as_mesh(mouth), *parts])
        found = gates_of(mesh, settings=GateSettings(grid_mm=0.6), base_height_mm=-1.0)
        assert found.gates == () and found.parts == ()
        assert 0.4 * found.limit_s < found.slowest_s < 0.9 * found.limit_s


BALL_ON_LEG = on_base(rod(0.8, -1, 25), ball(8, 30))


@functools.cache
def slow(viscosity_pa_s: float = 0.08) -> Gates:
    return gates_of(BALL_ON_LEG, Liquid(viscosity_pa_s, 1100.0))


class TestSlow:
    """A ball on a thin leg: too slow, unless a gate helps."""

    mesh = BALL_ON_LEG

    def test_what_is_slow_is_told_with_its_neck(self):
        found = gates_of(self.mesh, settings=GateSettings(enabled=False))
        assert found.gates == () and found.blocked == ()
        (part,) = found.parts
        assert part.volume_mm3 == pytest.approx(4 / 3 * math.pi * 8**3, rel=0.05)
        assert part.middle_mm == pytest.approx((0, 0, 30), abs=1.0)
        assert part.neck.diameter_mm == pytest.approx(1.6, rel=0.1)
        assert part.neck.length_mm == pytest.approx(22, rel=0.2)
        assert part.neck.beyond_mm3 == pytest.approx(part.volume_mm3, rel=0.1)
        by_hand = fill_time_s(
            [Section(1.6, 22.0)], THIN, part.volume_mm3, part.head_mm
        )
        assert part.time_s == pytest.approx(by_hand, rel=0.3)
        assert part.time_s == found.slowest_s > found.limit_s

    def test_its_gate_is_as_wide_as_it_has_to_be(self):
        found = slow()
        (gate,) = found.gates
        assert gate.fill_time_s <= found.limit_s and found.slowest_s <= found.limit_s
        assert gate.laminar and gate.reynolds < 10
        # By hand: leg and gate side by side, and a gate a step thinner, which would not do.
        volume, head = gate.feeds.volume_mm3, gate.feeds.head_mm

        def seconds(step: float) -> float:
            d = gate.diameter_mm - step
            sections = [
                Section(0.8 * d, gate.neck_length_mm),
                Section(d, gate.length_mm - gate.neck_length_mm),
            ]
            rates = [1 / fill_time_s(sections, THIN, volume, head),
                     1 / fill_time_s([Section(1.6, 22.0)], THIN, volume, head)]  # fmt: skip
            return 1 / sum(rates)

        assert seconds(0.0) == pytest.approx(gate.fill_time_s, rel=0.3)
        assert seconds(0.1) > 0.75 * found.limit_s

    def test_a_thicker_resin_asks_for_a_wider_gate_by_the_fourth_root(self):
        # So thick that next to nothing comes through the leg. Widths come in steps of 0.1 mm, and
        # a wider rod takes another way.
        one, four = (slow(v).gates[0] for v in (0.5, 2.0))
        assert four.diameter_mm / one.diameter_mm == pytest.approx(4**0.25, rel=0.08)

    @pytest.mark.parametrize("seed", [3, 5, 6])
    def test_there_is_a_way_whatever_the_last_digits_are(self, seed):
        """The cheapest feet are too near the leg, and all cost the same but for rounding."""
        shaken = np.random.default_rng(seed).normal(size=self.mesh.vertices.shape) * 1e-9
        mesh = TriMesh(self.mesh.vertices + shaken, self.mesh.faces)
        assert len(gates_of(mesh, Liquid(0.5, 1100.0)).gates) == 1

    def test_it_is_a_rod_that_keeps_the_rules(self):
        settings, found = GateSettings(), slow(0.5)
        (gate,), (body,) = found.gates, found.bodies
        path = np.array(gate.path_mm)
        steps = np.diff(path, axis=0)
        rise = -steps[:, 2] / np.linalg.norm(steps, axis=1)
        assert (rise >= math.sin(math.radians(settings.slope_deg)) - 1e-6).all()
        assert np.linalg.norm(steps, axis=1).sum() == pytest.approx(gate.length_mm)
        assert path[-1, 2] == pytest.approx(0.0, abs=1e-6), "it ends on the base's figure side"
        assert np.linalg.norm(path[0] - [0, 0, 30]) == pytest.approx(8, abs=0.1)
        assert settings.least_mm <= gate.diameter_mm <= settings.most_mm
        # Sunk at both ends, by the overlap at least.
        assert body.bounds_mm[0, 2] <= -settings.overlap_mm + 1e-9
        outwards = (path[0] - [0, 0, 30]) / np.linalg.norm(path[0] - [0, 0, 30])
        deep = ((body.vertices - path[0]) @ outwards).min()
        assert deep <= -settings.overlap_mm - 0.8 * gate.neck_mm / 2
        whole = boolean.union([self.mesh, body])
        assert is_watertight(whole) and len(boolean.pieces(whole)) == 1
        # Off its ends it keeps the web: measured on a rod of the same line, without them.
        way = (path[-1] - path[0]) / gate.length_mm
        zone = 2 * (settings.web_mm + gate.diameter_mm / 2)
        if gate.length_mm > 2 * zone and len(path) == 2:
            middle = trimesh.creation.cylinder(
                gate.diameter_mm / 2, segment=[path[0] + zone * way, path[-1] - zone * way]
            )
            assert fits.gap_mm(as_mesh(middle), self.mesh, 5.0) >= settings.web_mm - 0.3
        assert gate.web_mm >= settings.web_mm - 0.25

    def test_too_slow_even_through_the_widest_gate(self):
        found = gates_of(self.mesh, Liquid(5.0, 1100.0), GateSettings(most_mm=2.0, most_gates=3))
        ((_, reason),) = found.blocked
        assert "2 mm" in reason and "instead of 45 s" in reason
        assert len(found.gates) == 1, "it is fed ten times as fast all the same"
        assert found.gates[0].fill_time_s > found.limit_s
        assert found.slowest_s > found.limit_s

    def test_none_are_allowed(self):
        found = gates_of(self.mesh, settings=GateSettings(most_gates=0))
        assert found.gates == () and len(found.parts) == 1

    def test_it_is_the_same_every_time(self):
        assert gates_of(self.mesh).gates == slow().gates

    def test_progress_rises_and_cancelling_stops(self):
        seen: list[float] = []
        gates_of(self.mesh, progress=lambda f, _: seen.append(f))
        assert seen == sorted(seen) and seen[0] == 0 and seen[-1] == 1

        def stop(fraction: float, text: str) -> None:
            if "Routing" in text:
                raise Cancelled

        with pytest.raises(Cancelled):
            gates_of(self.mesh, progress=stop)


class TestApart:
    """Bodies that hang on nothing."""

    def test_each_gets_a_gate_and_is_joined(self):
        stem = box((-3, -3, -1), (3, 3, 30))
        far = [box((9, -4, 14), (15, 2, 20)), box((-15, -2, 10), (-8, 4, 15))]
        mesh = on_base(together(stem, *far))
        found = gates_of(mesh)
        assert len(found.gates) == 2 and found.blocked == ()
        assert [p.time_s for p in found.parts] == [None, None]
        assert [p.neck for p in found.parts] == [None, None]
        volumes = [g.feeds.volume_mm3 for g in found.gates]
        assert volumes == pytest.approx([216, 210], rel=0.05), "the largest first"
        assert math.isfinite(found.slowest_s) and found.slowest_s <= found.limit_s
        whole = boolean.union([mesh, *found.bodies])
        assert len(boolean.pieces(whole)) == 1
        assert fits.gap_mm(*found.bodies, 9.0) >= 1.75, "gates keep the web from each other"
        for gate in found.gates:
            assert gate.path_mm[-1][2] > -TOP_MM + 1, "never to the open air"

    def test_small_ones_side_by_side_keep_their_gates_apart(self):
        """Nearer to each other than a voxel; each is apart all the same."""
        pair = box((-3.1, -1.2, 9), (-0.1, 1.2, 12)), box((0.1, -1.2, 9), (3.1, 1.2, 12))
        found = gates_of(on_base(*pair))
        assert [g.diameter_mm for g in found.gates] == [1.0, 1.0], "the least"
        assert fits.gap_mm(*found.bodies, 9.0) >= 1.75

    def test_gates_end_only_on_what_is_fed(self):
        """Not on the part itself, nor on another one that waits for its gate."""
        mesh = on_base(box((-3, -3, -1), (3, 3, 30)), box((6, -4, 14), (12, 2, 20)))
        surface = prepare(boolean.refined(mesh, 1.5))
        report = find_pockets(surface, UP, top_plane_vertices(surface, UP))
        net = network_of(mesh, frame(UP), surface.centre_mm, THIN, 0.5)
        found = ground(report, net.slices, float(-surface.centre_mm @ UP), None)
        fed = np.flatnonzero(np.isfinite(fill(net).time_s))
        site = towards(site_for(found, GateSettings(), [], 1.0), found, fed, np.array([0]))
        late = np.setdiff1d(np.arange(len(net.head_mm)), fed)
        others = towards(site, found, late, np.array([0]))
        height = (surface.vertices + surface.centre_mm)[surface.faces][:, :, 2].mean(axis=1)
        # The base's figure side and the stem's far end; the far end of what waits.
        assert {round(float(z), 6) for z in height[site.drained]} == {0.0, 30.0}
        assert {round(float(z), 6) for z in height[others.drained]} == {20.0}
        assert np.isinf(site.land_price[~site.drained]).all()

    def test_one_beside_the_base_finds_nothing_above_it(self):
        mesh = on_base(together(box((-3, -3, -1), (3, 3, 12)), box((22, -3, -4), (28, 3, 2))))
        found = gates_of(mesh)
        assert found.gates == () and found.slowest_s == math.inf
        ((place, reason),) = found.blocked
        assert place == pytest.approx((25, 0, -1), abs=0.3)
        assert "nothing above it that is fed" in reason and "tilt the pour" in reason

    def test_one_in_a_narrow_shaft_would_go_with_less_web(self):
        wall = boolean.difference(
            as_mesh(box((-9, -9, -1), (9, 9, 30))), [as_mesh(box((-4, -4, 12), (4, 4, 31)))]
        )
        shaft = trimesh.Trimesh(wall.vertices, wall.faces)
        mesh = on_base(together(shaft, box((-2.5, -2.5, 24), (2.5, 2.5, 29))))
        found = gates_of(mesh, settings=GateSettings(web_mm=3.5))
        ((_, reason),) = found.blocked
        assert "12.0) mm" in reason, "the shaft's end is in the way"
        assert "would go with a web of" in reason
        assert gates_of(mesh, settings=GateSettings(web_mm=1.5)).blocked == ()


class TestSettings:
    """Rules are checked."""

    @pytest.mark.parametrize(
        "field",
        ["pot_life_share", "least_mm", "most_mm", "most_gates", "web_mm", "overlap_mm", "slope_deg",
         "neck_share", "neck_length_mm", "grid_mm"],
    )  # fmt: skip
    @pytest.mark.parametrize("bad", [-1, float("nan"), float("inf"), "1", None, True, 1e9])
    def test_bad_numbers_name_the_setting(self, field, bad):
        with pytest.raises(InputError, match=f"gates.{field}"):
            GateSettings(**{field: bad})

    def test_more_bad_settings(self):
        with pytest.raises(InputError, match="smaller one"):
            GateSettings(least_mm=4.0, most_mm=3.0)
        with pytest.raises(InputError, match="whole number"):
            GateSettings(most_gates=2.5)
        with pytest.raises(InputError, match=r"gates\.enabled"):
            GateSettings(enabled=1)
        with pytest.raises(InputError, match="pot life"):
            gates_of(on_base(box((-3, -3, -1), (3, 3, 12))), pot_life_s=0.0)

    def test_a_longer_share_of_the_pot_life_needs_no_gate(self):
        assert gates_of(BALL_ON_LEG, pot_life_s=1800.0).parts == ()
        assert gates_of(BALL_ON_LEG, settings=GateSettings(pot_life_share=1.0)).parts == ()


def test_late_parts_of_a_figure_that_is_all_in_time():
    mesh = on_base(rod(3, -1, 20))
    net = network_of(mesh, frame(UP), np.zeros(3), THIN, 0.5)
    assert late_parts(net, fill(net), 45.0, frame(UP), np.zeros(3)) == []
