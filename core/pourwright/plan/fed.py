"""Gates and vents of a sprued figure: the resin's way in, and the air's way out."""

from __future__ import annotations

from collections.abc import Sequence

from pourwright.air import Crew
from pourwright.gates import Gates
from pourwright.plan.job import Job
from pourwright.plan.sprued import Sprued, gated, gates_for
from pourwright.plan.venting import Vented, vented
from pourwright.progress import Progress, part
from pourwright.vents.settings import GivenVent


def fed_and_vented(
    bare: Sprued,
    job: Job,
    given: Sequence[GivenVent] | None,
    crew: Crew,
    progress: Progress,
) -> tuple[Sprued, Gates, Vented]:
    """Give a figure on its base the gates it needs, and vents with these in place.

    Most figures need no gate. So where a helper can look for parts that fill too slowly, vents
    are put up meanwhile as if there were none, and once more if there are.
    """
    if crew.alone:
        gates = gates_for(bare, job, part(progress, 0.0, 0.25))
        fed = gated(bare, gates)
        return fed, gates, vented(fed, job, given, part(progress, 0.3, 1.0))
    later = crew.aside(gates_for, bare, job)
    done = vented(bare, job, given, part(progress, 0.0, 0.7))
    progress(0.7, "Finding parts that fill too slowly")
    gates = later()
    fed = gated(bare, gates)
    if gates.bodies:
        done = vented(fed, job, given, part(progress, 0.75, 1.0))
    return fed, gates, done
