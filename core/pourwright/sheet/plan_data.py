"""What the bench needs of plan.json, checked: plain data that people may have changed by hand."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pourwright.checks import check_direction, check_number, check_text, parse_json
from pourwright.errors import InputError, Point
from pourwright.shop.bench import BenchSettings
from pourwright.shop.process import Process

SCHEMA = 1
MAX_PLAN_BYTES = 100_000_000
_ANY = (-1e12, 1e12)
_POSITIVE = (1e-9, 1e12)
_PA_PER_KPA = 1000.0

Json = dict[str, Any]


@dataclass(frozen=True)
class Rod:
    """One vent or gate of the cut list, mm and degrees.

    name : "3" for the third vent, "G1" for the first gate. pieces_mm : lengths
    of its straight pieces, joints_deg : bends between them.
    """

    name: str
    kind: str
    diameter_mm: float
    pieces_mm: tuple[float, ...]
    joints_deg: tuple[float, ...]
    foot_deg: float
    end_deg: float
    path_mm: tuple[Point, ...]


@dataclass(frozen=True)
class PlanData:
    """A plan as the sheet and the mixing see it. `data` is the whole of plan.json."""

    data: Json
    name: str
    up: Point
    process: Process
    material: str
    poured_ml: float
    margin: float
    rods: tuple[Rod, ...]
    pockets_mm: tuple[Point, ...]
    left_mm: tuple[Point, ...]
    cut_line_mm: tuple[Point, ...]
    bench: BenchSettings
    master_mm: Point

    @property
    def vents(self) -> tuple[Rod, ...]:
        """The rods that let air out."""
        return tuple(r for r in self.rods if r.kind == "vent")

    @property
    def box_mm(self) -> tuple[float, float, float] | None:
        """Size of the block of rubber, from silicone.box_mm; None where there is none."""
        silicone = self.data.get("silicone")
        return None if silicone is None else _point(silicone.get("box_mm"), "silicone.box_mm")

    @property
    def round_box(self) -> bool:
        """Whether the mould is round."""
        box = _table((self.data.get("mould") or {}).get("box") or {}, "mould.box")
        return bool(box.get("shape") == "round")


def read_plan(path: Path) -> Json:
    """Return the data of a plan.json; InputError, one line, where it is none."""
    try:
        if path.is_dir():
            raise InputError(f"{path} is a folder", hint="give the plan.json in it")
        if not path.exists():
            raise InputError(f"There is no file {path}", hint="make it with 'pourwright plan'")
        with path.open("rb") as stream:
            text = stream.read(MAX_PLAN_BYTES + 1)
        if len(text) > MAX_PLAN_BYTES:
            raise InputError(f"{path} is too big for a plan", hint="give a plan.json")
        data = parse_json(text, parse_constant=_no_constant)
    except UnicodeDecodeError as error:
        raise InputError(f"{path} is not JSON, it is no text", hint="give a plan.json") from error
    except (ValueError, RecursionError) as error:
        raise InputError(f"{path} is not JSON: {error}", hint="give a plan.json") from error
    except OSError as error:
        reason = error.strerror or type(error).__name__
        raise InputError(f"{path} cannot be read: {reason}") from error
    if not isinstance(data, dict) or data.get("schema") != SCHEMA:
        raise InputError(f"{path} is no pour plan", hint="make it with 'pourwright plan'")
    return data


def plan_data(data: Mapping[str, Any]) -> PlanData:
    """Return what is needed of a plan, checked; InputError names the key that is wrong."""
    job = _table(data.get("job", {}), "job")
    silicone, mould = (data.get(key) for key in ("silicone", "mould"))
    for key, table in (("silicone", silicone), ("mould", mould)):
        if table is not None:
            _table(table, key)
    cut = _table((mould or {}).get("cut_line") or {}, "mould.cut_line").get("path_mm", [])
    vents = _list(data, "vents")
    gates = _list(data, "gates") if "gates" in data else []
    return PlanData(
        data=dict(data),
        name=check_text("figure.name", _value(data, "figure.name")),
        up=check_direction("up", _value(data, "up")),
        process=_process(data),
        material=check_text("resin.material", _value(data, "resin.material")),
        poured_ml=_number(data, "resin.poured_ml", *_POSITIVE),
        margin=_number(data, "resin.margin", 0.0, 1.0),
        rods=tuple(
            _rod(rod, f"{key}[{i}]", f"{mark}{i + 1}", key[:-1])
            for key, mark, rods in (("vents", "", vents), ("gates", "G", gates))
            for i, rod in enumerate(rods)
        ),
        pockets_mm=_peaks(data, "pockets"),
        left_mm=_peaks(data, "pockets_after"),
        cut_line_mm=_points(cut, "mould.cut_line.path_mm"),
        bench=BenchSettings.from_table(job.get("bench", {})),
        master_mm=_point(_value(data, "master.size_mm"), "master.size_mm"),
    )


def pour_plan(data: Mapping[str, Any]) -> bool:
    """Whether the data are a whole plan, not those of an air check or a search for poses."""
    return all(isinstance(data.get(key), dict) for key in ("resin", "master", "figure", "process"))


def value_at(data: Mapping[str, Any], key: str) -> Any:
    """Return the value of "resin.part_a_g" or "master.size_mm.0"; InputError if there is none."""
    return _value(data, key)


def _no_constant(word: str) -> None:
    raise ValueError(f"{word} is no number")


def _value(data: Mapping[str, Any], key: str) -> Any:
    found: Any = data
    for name in key.split("."):
        if isinstance(found, list) and name.isdigit() and int(name) < len(found):
            found = found[int(name)]
            continue
        if not isinstance(found, Mapping) or name not in found:
            raise InputError(f"The plan lacks {key}", hint="make it anew with 'pourwright plan'")
        found = found[name]
    return found


def _number(data: Mapping[str, Any], key: str, low: float, high: float) -> float:
    return check_number(f"The plan's {key}", _value(data, key), low, high)


def _table(value: Any, key: str) -> Json:
    if not isinstance(value, dict):
        raise InputError(f"The plan's {key} is no table", hint="make the plan anew")
    return value


def _list(data: Mapping[str, Any], key: str) -> list[Json]:
    found = _value(data, key)
    if not isinstance(found, list) or not all(isinstance(item, dict) for item in found):
        raise InputError(f"The plan's {key} is no list of tables", hint="make the plan anew")
    return found


def _point(value: Any, key: str) -> Point:
    if not isinstance(value, list | tuple) or len(value) != 3:
        raise InputError(f"The plan's {key} is not three numbers", hint="make the plan anew")
    x, y, z = (check_number(f"The plan's {key}", c, *_ANY) for c in value)
    return (x, y, z)


def _points(value: Any, key: str) -> tuple[Point, ...]:
    if not isinstance(value, list | tuple):
        raise InputError(f"The plan's {key} is no list of points", hint="make the plan anew")
    return tuple(_point(p, key) for p in value)


def _peaks(data: Mapping[str, Any], key: str) -> tuple[Point, ...]:
    """Return the high points of the pockets that matter."""
    return tuple(
        _point(_value(p, "peak_mm"), f"{key}.peak_mm") for p in _list(data, key) if p.get("matters")
    )


def _process(data: Mapping[str, Any]) -> Process:
    trap, cure = (
        _number(data, f"process.{key}_kpa_absolute", 1e-3, 1e5) * _PA_PER_KPA
        for key in ("trap", "cure")
    )
    title = check_text("process.title", _value(data, "process.title"))
    name = check_text("process.name", _value(data, "process.name"))
    return Process(name, title, trap, cure, _number(data, "process.visible_defect_mm", 1e-3, 50.0))


def _rod(vent: Json, key: str, name: str, kind: str) -> Rod:
    path = _points(_value(vent, "path_mm"), f"{key}.path_mm")
    if len(path) < 2:
        raise InputError(f"The plan's {key}.path_mm has no length", hint="make the plan anew")

    def numbers(what: str) -> tuple[float, ...]:
        found = vent.get(what, [])
        if not isinstance(found, Sequence) or isinstance(found, str):
            raise InputError(f"The plan's {key}.{what} is no list", hint="make the plan anew")
        return tuple(check_number(f"The plan's {key}.{what}", n, *_ANY) for n in found)

    pieces = numbers("segments_mm") or (_number(vent, "length_mm", 0.0, 1e7),)
    return Rod(
        name=name,
        kind=kind,
        diameter_mm=_number(vent, "diameter_mm", *_POSITIVE),
        pieces_mm=pieces,
        joints_deg=numbers("joints_deg"),
        foot_deg=check_number(f"{key}.foot_angle_deg", vent.get("foot_angle_deg", 0.0), *_ANY),
        end_deg=check_number(f"{key}.end_angle_deg", vent.get("end_angle_deg", 0.0), *_ANY),
        path_mm=path,
    )
