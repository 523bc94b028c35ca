"""One file through the door that it would come by, and what came of it."""

from __future__ import annotations

import contextlib
import io
import json
import shutil
import traceback
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np

import pourwright.cli
from pourwright.cli import main
from pourwright.errors import PourwrightError
from pourwright.shop.silicone import read_silicones
from pourwright.solid import intake, read_models
from pourwright.solid.topology import is_watertight
from tests.fuzz.plain_readers import triangles
from tests.fuzz.seeds import MODELS, SUFFIX, seeds
from tests.fuzz.winding import disagreement

# Making the parser takes longer than most cases.
pourwright.cli.build_parser = cache(pourwright.cli.build_parser)

# Intake refuses surfaces that wrap more than 1 % of their volume wrongly and tells the rest.
MOST_WRONG = 0.02
# What intake mends and tells; then the file itself is no measure of the right volume.
MENDED = {"inverted_shell", "mixed_winding", "near_vertices", "self_overlap"}


@dataclass(frozen=True)
class Outcome:
    """What came of a case: "accepted", "refused", "crash" or "wrong"; mark : tells bugs apart."""

    word: str
    mark: str = ""
    detail: str = ""


def judge(kind: str, data: bytes, folder: Path, air: bool = False) -> Outcome:
    """Hand the file to Pourwright in an empty folder; air : models go through the command too."""
    path = folder / f"{kind}-case{SUFFIX[kind]}"
    path.write_bytes(data)
    try:
        if kind in MODELS:
            outcome = _model(kind, data, path)
            if outcome.word == "accepted" and air:
                return _command(["air", str(path), "--json", str(folder / "air.json")])
            return outcome
        return _text(kind, data, path, folder)
    except PourwrightError as error:
        line = error.one_line()
        if "\n" in line or not error.what.strip():
            return Outcome("crash", "message", repr(line))
        return Outcome("refused", getattr(error, "kind", type(error).__name__), line)
    except Exception as error:
        frames = traceback.extract_tb(error.__traceback__)
        frames = [f for f in frames if "pourwright" in f.filename]
        at = f"{Path(frames[-1].filename).name}:{frames[-1].name}" if frames else "?"
        mark = f"{type(error).__name__} {at}"
        return Outcome("crash", mark, traceback.format_exc()[-1500:])
    finally:
        for left in folder.iterdir():
            shutil.rmtree(left) if left.is_dir() else left.unlink()


def _model(kind: str, data: bytes, path: Path) -> Outcome:
    meshes, _ = read_models([path])
    solid = intake(meshes)
    made = solid.mesh.vertices[solid.mesh.faces]
    if not (np.isfinite(made).all() and np.isfinite(solid.volume_mm3) and solid.volume_mm3 > 0):
        return Outcome("wrong", "not finite", f"volume {solid.volume_mm3}")
    if not is_watertight(solid.mesh):
        return Outcome("wrong", "not watertight")
    told = {f.kind for f in solid.findings}
    plain = triangles(kind, data)
    read = np.concatenate([m.vertices[m.faces] for m in meshes])
    if not told & MENDED:
        share = disagreement(read if plain is None else plain, made)
        if not share <= MOST_WRONG:
            return Outcome("wrong", "volume", f"{share:.3%} of the volume, told: {sorted(told)}")
    # Mended shells change what is solid, never how many triangles there were to read.
    if plain is not None and len(plain) != len(read):
        return Outcome("wrong", "count", f"{len(read)} of {len(plain)} triangles read")
    return Outcome("accepted", " ".join(sorted(told)))


def _text(kind: str, data: bytes, path: Path, folder: Path) -> Outcome:
    if kind == "silicone":
        read_silicones(data.decode("utf-8-sig", "replace"), str(path))
        return Outcome("accepted")
    if kind == "resin":
        presets = folder / "presets"
        presets.mkdir()
        shutil.move(path, presets / "resin-own.toml")
        listed = folder / "list.json"
        outcome = _command(["materials", "--materials", str(presets), "--json", str(listed)])
        if outcome.word != "accepted":
            return outcome
        names = [m["name"] for m in json.loads(listed.read_text("utf-8"))["materials"]]
        return _first_bad(
            _command(["mix", "25.5", "--materials", str(presets), f"--material={name}"])
            for name in names[-3:]
        )
    if kind == "job":
        from pourwright.plan.job_file import read_job

        read_job(path)
        return Outcome("accepted")
    if kind == "protect":
        from pourwright.solid.read_protect import read_protection

        found = read_protection(path)
        sound = np.isfinite(found.points_mm).all() and (abs(found.weights - 0.5) <= 0.5).all()
        return Outcome("accepted") if sound else Outcome("wrong", "weights")
    if kind == "bench":
        return _command(["mix", "25.5", "--casts", "3", "--bench", str(path)])
    if kind == "plan":
        sheet = ["sheet", str(path), "--out", str(folder / "sheet.html")]
        return _first_bad(
            _command(arguments)
            for arguments in (["mix", str(path), "--casts", "3"], sheet)
        )
    plan = folder / "plan.json"
    plan.write_bytes(seeds("plan")[0])
    return _command(
        ["sheet", str(plan), "--out", str(folder / "sheet.html"), "--log", str(path)]
    )


def _first_bad(outcomes) -> Outcome:
    """The first crash; else refused if any was, else accepted."""
    found = list(outcomes)
    for word in ("crash", "wrong", "refused"):
        for outcome in found:
            if outcome.word == word:
                return outcome
    return found[0]


def _command(arguments: list[str]) -> Outcome:
    """Run the command line in this process."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        status = main(arguments)
    said = err.getvalue()
    if status in (0, 1) and not said:
        return Outcome("accepted", str(status))
    if "this is a bug" in said or "not enough memory" in said:
        mark = said.split("bug: ")[-1].split(";")[0][:60]
        return Outcome("crash", f"{arguments[0]} {mark}", said)
    if status == 2 and said.count("\n") == 1:
        return Outcome("refused", arguments[0], said.strip())
    return Outcome("crash", f"status {status}", said)
