"""The folder of one pour plan: the master to print, rods to cut, and the plan as data."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial
from pathlib import Path

from pourwright.errors import OutputError
from pourwright.files.atomic import Writer, write_files
from pourwright.files.plan_json import plan_to_dict, to_json
from pourwright.files.rods_csv import rods_csv
from pourwright.files.stl import write_stl
from pourwright.files.threemf import write_threemf
from pourwright.mould import Mould
from pourwright.mould.views import SIDES, polyline_obj, side_views
from pourwright.plan.model import PourPlan
from pourwright.pose.model import PoseReport
from pourwright.solid.mesh import TriMesh

PLAN_FILE_NAMES = ("master.3mf", "master.stl", "rods.csv", "plan.json")
# Beside them where the figure exists already: what is printed then.
SOCKET_FILE_NAMES = ("base.3mf", "base.stl")
# And where a mould is planned: the cut line to draw on the master or the block.
CUT_FILE_NAMES = ("cut.obj", "cut-front.svg", "cut-right.svg", "cut-back.svg", "cut-left.svg")
SOCKET_NOTE = "Put the figure in and seal the gap before the mould is made"


def plan_targets(folder: Path, socket: bool = False, mould: bool = False) -> list[Path]:
    """Return the paths that `write_plan` writes to; socket, mould : whether the plan has them."""
    names = (SOCKET_FILE_NAMES if socket else ()) + (CUT_FILE_NAMES if mould else ())
    return [folder / name for name in names + PLAN_FILE_NAMES]


def write_plan(
    plan: PourPlan,
    folder: Path,
    force: bool,
    also: Mapping[Path, bytes] | None = None,
    poses: PoseReport | None = None,
) -> list[Path]:
    """Write master.3mf, master.stl, rods.csv and plan.json into the folder, all or none.

    Of a plan with a socket base.3mf and base.stl come with them, of one with a mould the cut line,
    as cut.obj and drawn from four sides. also : further files to write in the same step, by path.
    poses : the search whose best pose the plan uses, for plan.json. The folder is made if need be.
    Returns the paths written. Raises OutputError when a file exists, unless `force` or the file
    is empty, and when something cannot be written.
    """
    threemf = partial(
        write_threemf,
        mesh=plan.master.mesh,
        up=plan.up,
        title=f"Casting master of {plan.figure.mesh.name}",
        description=(f"{len(plan.vents)} vents, {plan.resin.poured_ml:.1f} ml of resin to pour"),
    )
    data = plan_to_dict(plan, poses)
    named: dict[str, Writer | bytes] = {}
    if plan.socket is not None:
        printed = partial(
            write_threemf,
            mesh=plan.socket.mesh,
            up=plan.up,
            title=f"Base with a socket for {plan.figure.mesh.name}",
            description=SOCKET_NOTE,
        )
        named |= {"base.3mf": printed, "base.stl": partial(write_stl, mesh=plan.socket.mesh)}
    if plan.mould is not None:
        named |= zip(CUT_FILE_NAMES, cut_files(plan.mould, plan.master.mesh), strict=True)
    named |= {
        "master.3mf": threemf,
        "master.stl": partial(write_stl, mesh=plan.master.mesh),
        "rods.csv": rods_csv(data),
        "plan.json": to_json(data),
    }
    # The data comes last: where it is, the master it describes is complete.
    targets = plan_targets(folder, plan.socket is not None, plan.mould is not None)
    contents: dict[Path, Writer | bytes] = {path: named[path.name] for path in targets}
    for path, content in (also or {}).items():
        if path in contents:
            raise OutputError(f"{path} is one of the plan's own files", hint="choose another name")
        contents[path] = content
    return write_files(contents, force=force)


def cut_files(mould: Mould, master: TriMesh) -> list[bytes]:
    """Return what is written under the names of `CUT_FILE_NAMES`, in the standing frame."""
    cut = mould.cut
    line, hinge = mould.standing(cut.line.cut_mm), mould.standing(cut.line.hinge_mm)
    slits = [mould.standing(slit) for slit in cut.slits_mm]
    lines = {"cut": line, "hinge": hinge, "knife enters": mould.standing(cut.outside_mm)}
    lines |= {f"slit {i + 1}": slit for i, slit in enumerate(slits)}
    text = polyline_obj(lines, closed=[name for name in lines if name.startswith("slit")])
    # Looked at as the master stands on its board.
    views = side_views(master, line, hinge, slits, turn=mould.turn)
    return [text.encode("utf-8"), *(views[side].encode("utf-8") for side in SIDES)]
