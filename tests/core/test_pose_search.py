"""The search for the way up as a whole."""

from __future__ import annotations

import os
from dataclasses import replace

import numpy as np
import pytest
from pose_bodies import Manifold, pose_body, solid_of

from pourwright.errors import Cancelled, GeometryError, MeshError
from pourwright.pose import judge as judging
from pourwright.pose import search as searching
from pourwright.pose import sweep as sweeping
from pourwright.pose.directions import angle_deg, cone_directions
from pourwright.pose.judge import judge, ready, score
from pourwright.pose.model import PoseReport
from pourwright.pose.refine import Basin, apart, rank, refine
from pourwright.pose.search import search
from pourwright.pose.settings import PoseSettings, PoseWeights
from pourwright.pose.sweep import processes_for, sweep
from pourwright.progress import silent
from pourwright.report import pose_report
from pourwright.shop.process import PROCESSES
from pourwright.solid import Solid, TriMesh

OPEN, VACUUM = PROCESSES["open"], PROCESSES["vacuum_pressure"]
NOTHING = PoseWeights(0, 0, 0, 0, 0, 0, 0, 0)


def found(solid: Solid, process=OPEN, *, embed_mm: float = 1.0, **more) -> PoseReport:
    return search(solid, process, PoseSettings(**more), embed_mm, processes=1)


@pytest.mark.parametrize(("number", "process"), [(5, OPEN), (4, VACUUM)])
def test_search_is_as_good_as_brute_force(number, process):
    """A small share of tests/bench/pose_brute_force.py; see there for the rest."""
    _, solid = pose_body(number)
    settings = PoseSettings(directions=250, keep=1)
    dense = cone_directions(settings.axis, 180.0, 1000)
    figure = ready(solid, process, settings, 1.0)
    lowest = min(score(j.terms, settings.weights) for j in sweep(figure, judge, dense))
    best = search(solid, process, settings, 1.0, processes=1).poses[0]
    assert best.score <= 1.01 * lowest


def test_every_number_of_the_report_is_the_judge_s():
    _, solid = pose_body(5)
    report = found(solid, directions=120, pot_height_mm=40.0)
    figure = ready(solid, OPEN, report.settings, 1.0)
    for pose in [*report.poses, report.standing]:
        up = np.array(pose.up)
        assert np.linalg.norm(up) == pytest.approx(1.0, abs=1e-12)
        assert pose.terms == judge(figure, up).terms
        assert pose.score == score(pose.terms, report.settings.weights)
        assert pose.tilt_deg == pytest.approx(angle_deg(up, np.array([0, 0, -1.0])))
    assert report.standing.up == (0.0, 0.0, -1.0)
    assert report.directions.shape == (len(report.scores), 3)
    for i in (0, 40, len(report.scores) - 1):
        terms = judge(figure, report.directions[i]).terms
        assert report.scores[i] == score(terms, report.settings.weights)
    scores = [p.score for p in report.poses]
    assert scores == sorted(scores)
    assert scores[0] <= report.scores.min()


def test_poses_are_apart_and_as_many_as_asked_for():
    _, solid = pose_body(5)
    for keep in (1, 9):
        report = found(solid, directions=40, keep=keep)
        assert 1 <= len(report.poses) <= keep
        ups = np.array([p.up for p in report.poses])
        between = [angle_deg(ups[i], ups[j]) for i in range(len(ups)) for j in range(i)]
        assert min(between, default=99.0) >= 15.0
    assert len(report.poses) > 3


def test_cone_holds_every_pose():
    _, solid = pose_body(0)
    report = found(solid, directions=40, cone_deg=25.0, axis=(1, 0, 0))
    axis = np.array([1.0, 0, 0])
    assert report.standing.up == (1.0, 0.0, 0.0)
    assert angle_deg(report.directions, axis).max() <= 25.0 + 1e-9
    assert all(p.tilt_deg <= 25.0 + 1e-9 for p in report.poses)
    assert len(report.poses) > 1
    free = found(solid, directions=40, keep=1)
    assert free.poses[0].score < report.poses[0].score


@pytest.mark.parametrize("only", [{"directions": 1}, {"cone_deg": 0.0}])
def test_the_axis_alone(only):
    report = found(pose_body(5)[1], axis=(0, 1, 0), **only)
    (pose,) = report.poses
    assert pose == report.standing
    assert pose.up == (0.0, 1.0, 0.0)
    assert pose.reasons == ("the standing pose",)
    assert len(report.directions) == 1


def test_few_directions_and_narrow_cones():
    _, solid = pose_body(5)
    for few in ({"directions": 2}, {"cone_deg": 0.01}, {"cone_deg": 1.0}):
        report = found(solid, **{"directions": 20, "keep": 1, **few})
        assert report.poses[0].score <= report.standing.score


@pytest.mark.parametrize("axis", [(0, 0, -1), (0, 0, 1), (1, 0, 0), (0, -1, 0)])
def test_of_equal_poses_the_standing_one_is_first(axis):
    """A cube is as good on each of its faces."""
    report = found(solid_of(Manifold.cube((20, 20, 20))), axis=axis, directions=50)
    assert report.poses[0].up == tuple(float(c) for c in axis)
    assert len(report.poses) >= 6
    assert report.poses[5].score == pytest.approx(report.poses[0].score)
    assert report.poses[5].reasons == ("as good as standing",)
    tilts = [p.tilt_deg for p in report.poses[:6]]
    assert tilts == pytest.approx([0, 90, 90, 90, 90, 180], abs=1e-6)


def test_ranking_breaks_ties_within_noise_only():
    ups = np.array([[0, 0, 1.0], [1, 0, 0], [0, 0, -1]])
    axis = ups[2]
    assert rank(ups, np.array([5.0, 5.0 + 1e-9, 5.0 - 1e-9]), axis).tolist() == [2, 1, 0]
    assert rank(ups, np.array([5.0, 5.001, 5.002]), axis).tolist() == [0, 1, 2]
    assert rank(ups[:0], np.empty(0), axis).tolist() == []
    assert apart(ups, np.array([1, 0, 2]), 100.0, 3).tolist() == [1]
    assert apart(ups, np.array([1, 0, 2]), 90.0, 2).tolist() == [1, 0]


def test_refinement_finds_the_flat_side():
    """A plank's height is least exactly on its side, 6 degrees from where it begins."""
    weights = replace(NOTHING, height_mm=1.0)
    settings = PoseSettings(weights=weights)
    figure = ready(solid_of(Manifold.cube((80, 30, 5))), OPEN, settings, 1.0)
    start = np.array([np.sin(0.1), 0, np.cos(0.1)])
    begin = score(judge(figure, start).terms, weights)
    result = refine(figure, Basin(start, begin, 1.5))
    end = result.directions[result.best]
    assert angle_deg(end, np.array([0, 0, 1.0])) < 0.2
    assert score(result.judged[result.best].terms, weights) < 5.4
    assert len(result.directions) == len(result.judged) < 150
    flat = refine(figure, Basin(np.array([0, 0, 1.0]), 5.0, 1.5))
    assert flat.best == -1


@pytest.mark.parametrize(
    ("weight", "height_mm"), [("height_mm", 10.0), ("footprint_cm2", 60.0)]
)
def test_weights_decide_which_way_a_brick_lies(weight, height_mm):
    brick = solid_of(Manifold.cube((20, 60, 10)))
    report = found(brick, directions=60, keep=1, weights=replace(NOTHING, **{weight: 1.0}))
    assert report.poses[0].terms.height_mm == pytest.approx(height_mm, abs=0.2)


def test_pot_turns_a_long_figure():
    brick = solid_of(Manifold.cube((20, 60, 10)))
    lying = found(brick, directions=60, keep=1)
    assert lying.poses[0].terms.height_mm < 25
    narrow = found(brick, directions=60, keep=1, pot_diameter_mm=30.0, pot_height_mm=100.0)
    assert narrow.poses[0].terms.height_mm > 50
    assert narrow.poses[0].terms.misfit_mm == pytest.approx(0.0, abs=1e-9)


def test_turned_figure_is_found_turned():
    """The even spread does not turn with the figure; what is found does."""
    _, solid = pose_body(5)
    turn = np.linalg.qr(np.random.default_rng(8).normal(size=(3, 3)))[0]
    turn *= np.sign(np.linalg.det(turn))
    moved = replace(solid, mesh=replace(solid.mesh, vertices=solid.mesh.vertices @ turn.T))
    wide = {"directions": 200, "keep": 1}
    one, other = found(solid, **wide), found(moved, axis=tuple(turn @ [0, 0, -1]), **wide)
    assert other.poses[0].score == pytest.approx(one.poses[0].score, rel=0.01)
    assert angle_deg(turn @ np.array(one.poses[0].up), np.array(other.poses[0].up)) < 3.0


def same(a: PoseReport, b: PoseReport) -> bool:
    return (
        a.poses == b.poses
        and a.standing == b.standing
        and a.directions.tobytes() == b.directions.tobytes()
        and a.scores.tobytes() == b.scores.tobytes()
    )


def test_result_depends_neither_on_the_run_nor_on_the_processes():
    _, solid = pose_body(5)
    settings = PoseSettings(directions=12, keep=1)
    first = search(solid, OPEN, settings, 1.0, processes=1)
    assert same(first, search(solid, OPEN, settings, 1.0))
    assert same(first, search(solid, OPEN, settings, 1.0, processes=2))


def test_processes_only_where_they_pay(monkeypatch):
    monkeypatch.setattr(sweeping, "processors", lambda: 4)
    assert [processes_for(500, n) for n in (0, 1_000, 100_000)] == [1, 1, 4]
    assert processes_for(1, 100_000) == 1
    monkeypatch.setattr(sweeping, "processors", lambda: 1)
    assert processes_for(500, 1_000_000) == 1


def test_progress_rises_to_the_end():
    told: list[tuple[float, str]] = []
    search(pose_body(5)[1], OPEN, PoseSettings(directions=30, keep=1), 1.0,
           lambda fraction, text: told.append((fraction, text)), processes=1)  # fmt: skip
    fractions = [fraction for fraction, _ in told]
    assert fractions == sorted(fractions)
    assert (fractions[0], fractions[-1]) == (0.0, 1.0)
    for text in ("Preparing the surface", "Trying directions: 30 of ", "Refining the best: 1 of "):
        assert any(t.startswith(text) for _, t in told)


@pytest.mark.parametrize("stop_at", [0.0, 0.2, 0.5, 0.7])
def test_stop_by_the_user(monkeypatch, stop_at):
    """Nothing more is judged once progress has raised."""
    calls = [0]
    real = searching.judge_if_sound

    def counted(figure, up):
        calls[0] += 1
        return real(figure, up)

    def progress(fraction, text):
        if fraction >= stop_at:
            calls[0] = 0
            raise Cancelled

    monkeypatch.setattr(searching, "judge_if_sound", counted)
    with pytest.raises(Cancelled):
        search(pose_body(5)[1], OPEN, PoseSettings(directions=30, keep=1), 1.0, progress,
               processes=1)  # fmt: skip
    assert calls[0] == 0


def test_stop_ends_the_other_processes():
    def progress(fraction, text):
        if text.startswith("Trying directions: 3 of"):
            raise Cancelled

    with pytest.raises(Cancelled):
        search(pose_body(5)[1], OPEN, PoseSettings(directions=20_000), 1.0, progress, processes=2)
    # Children that still ran would be the only ones to wait for.
    with pytest.raises(ChildProcessError):
        os.waitpid(-1, os.WNOHANG)


def broken_beyond(monkeypatch, least: float) -> None:
    """Have no direction judged whose x is greater, as if the surface crossed itself there."""
    real = judging.judge

    def broken(figure, up):
        if up[0] > least:
            raise GeometryError("A hollow's roof has no wall above it")
        return real(figure, up)

    monkeypatch.setattr(judging, "judge", broken)
    monkeypatch.setattr(searching, "judge", broken)


def test_directions_that_cannot_be_judged_are_left_out(monkeypatch):
    _, solid = pose_body(5)
    whole = found(solid, directions=60, keep=2)
    assert whole.left_out == 0
    broken_beyond(monkeypatch, 0.4)
    report = found(solid, directions=60, keep=2)
    assert report.left_out == (whole.directions[:, 0] > 0.4).sum() > 10
    np.testing.assert_array_equal(
        report.directions, whole.directions[whole.directions[:, 0] <= 0.4]
    )
    assert all(p.up[0] <= 0.4 for p in report.poses)
    assert f"note: {report.left_out} directions left out" in pose_report(report, solid, ["a"])
    assert "left out" not in pose_report(whole, solid, ["a"])


def test_standing_pose_that_cannot_be_judged(monkeypatch):
    broken_beyond(monkeypatch, -0.5)
    with pytest.raises(GeometryError, match="no wall above"):
        found(pose_body(5)[1], directions=20)


def test_open_surface_is_refused():
    body = solid_of(Manifold.cube((10, 10, 10)))
    holed = replace(body, mesh=TriMesh(body.mesh.vertices, body.mesh.faces[1:], "box"))
    with pytest.raises(MeshError, match="'box' is not closed"):
        search(holed, OPEN, PoseSettings(), 1.0, silent)
