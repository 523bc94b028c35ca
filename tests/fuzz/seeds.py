"""Sound files of every kind that people hand to Pourwright: what the fuzzing starts from."""

from __future__ import annotations

import io
import json
import struct
import zipfile
from dataclasses import fields, is_dataclass
from functools import cache
from importlib import resources

import numpy as np
import trimesh

from pourwright.files.plan_json import plan_to_dict, to_json
from pourwright.plan.job import Job
from tests.core.example_plan import example_plan

MODELS = ("stl", "obj", "ply", "3mf", "glb")
TEXTS = ("job", "plan", "resin", "silicone", "bench", "pours", "protect")
KINDS = MODELS + TEXTS
SUFFIX = {k: "." + k for k in MODELS} | {
    "job": ".toml", "plan": ".json", "resin": ".toml", "silicone": ".toml", "bench": ".toml",
    "pours": ".jsonl", "protect": ".csv",
}  # fmt: skip


def bodies() -> list[list[trimesh.Trimesh]]:
    """Figures: a ball; overlapping boxes with a loose piece; a ball with a void; two objects."""
    ball = trimesh.creation.icosphere(subdivisions=1, radius=10)
    big = trimesh.creation.box(bounds=[(0, 0, 0), (9, 9, 9)])
    over = trimesh.creation.box(bounds=[(4, 3.3, 2.2), (13, 7.1, 6.7)])
    piece = trimesh.creation.icosphere(subdivisions=0, radius=3)
    piece.apply_translation((25, 1, 2))
    void = trimesh.creation.icosphere(subdivisions=0, radius=5)
    void.invert()
    joined = trimesh.util.concatenate
    return [[ball], [joined([big, over, piece])], [joined([ball, void])], [big, over]]


def _ply(body: trimesh.Trimesh, form: str, protect: bool) -> bytes:
    head = (
        f"ply\nformat {form} 1.0\ncomment a figure\nelement vertex {len(body.vertices)}\n"
        "property float x\nproperty float y\nproperty float z\n"
        + ("property uchar protect\n" if protect else "")
        + f"element face {len(body.faces)}\nproperty list uchar int vertex_indices\nend_header\n"
    ).encode()
    weights = np.arange(len(body.vertices)) % 256
    if form == "ascii":
        rows = [
            " ".join(f"{c:.7g}" for c in v) + (f" {w}" if protect else "")
            for v, w in zip(body.vertices, weights, strict=True)
        ]
        rows += [f"3 {a} {b} {c}" for a, b, c in body.faces]
        return head + ("\n".join(rows) + "\n").encode()
    order = "<" if "little" in form else ">"
    for v, w in zip(body.vertices, weights, strict=True):
        head += struct.pack(order + "3f", *v) + (bytes([w]) if protect else b"")
    for f in body.faces:
        head += struct.pack(order + "B3i", 3, *f)
    return head


def _threemf(parts: list[trimesh.Trimesh]) -> bytes:
    objects, items, uses = "", "", ""
    for number, part in enumerate(parts, start=1):
        points = "".join(f'<vertex x="{x:.7g}" y="{y:.7g}" z="{z:.7g}"/>' for x, y, z in
                         part.vertices)  # fmt: skip
        faces = "".join(f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in part.faces)
        objects += (
            f'<object id="{number}" type="model"><mesh><vertices>{points}</vertices>'
            f"<triangles>{faces}</triangles></mesh></object>"
        )
        uses += f'<component objectid="{number}" transform="1 0 0 0 1 0 0 0 1 0 0 {number}"/>'
        items += f'<item objectid="{number}"/>'
    if len(parts) > 1:
        objects += f'<object id="9" type="model"><components>{uses}</components></object>'
        items = '<item objectid="9" transform="0 1 0 -1 0 0 0 0 1 5 0 0"/>'
    text = (
        '<?xml version="1.0" encoding="UTF-8"?>\n<model unit="millimeter" xml:lang="en-US" '
        'xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02">'
        f'<metadata name="Title">figure</metadata><resources>{objects}</resources>'
        f"<build>{items}</build></model>"
    )
    rels = (
        '<?xml version="1.0"?><Relationships '
        'xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
        '<Relationship Target="/3D/3dmodel.model" Id="rel0" '
        'Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/></Relationships>'
    )
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as target:
        target.writestr("[Content_Types].xml", "<Types/>")
        target.writestr("_rels/.rels", rels)
        target.writestr("3D/3dmodel.model", text)
    return stream.getvalue()


def _model(kind: str, parts: list[trimesh.Trimesh]) -> list[bytes]:
    whole = trimesh.util.concatenate(parts)
    if kind == "stl":
        return [whole.export(file_type="stl"), whole.export(file_type="stl_ascii").encode()]
    if kind == "obj":
        return [whole.export(file_type="obj", include_normals=False).encode()]
    if kind == "ply":
        forms = ("ascii", "binary_little_endian", "binary_big_endian")
        return [_ply(whole, form, protect) for form in forms for protect in (False, True)]
    if kind == "3mf":
        return [_threemf(parts)]
    return [trimesh.Scene(parts).export(file_type="glb")]


def _toml(name: str, settings: object) -> str:
    """Every setting of a dataclass as a table, with those that are unset left out."""
    lines, below = [f"[{name}]"], []
    for field in fields(settings):  # type: ignore[arg-type]
        value = getattr(settings, field.name)
        if is_dataclass(value):
            below.append(_toml(f"{name}.{field.name}", value))
        elif value is not None and field.name != "extras":
            lines.append(f"{field.name} = {json.dumps(value)}")
    return "\n".join([*lines, *below]) + "\n"


def _job() -> str:
    job = Job()
    text = '[pour]\nup = [0, 0, -1]\nprocess = "pressure"\nmaterial = "epoxy"\nmargin = 0.2\n'
    text += "[process]\ntrap_kpa = 3.1\ncure_kpa = 377.0\nvisible_defect_mm = 0.25\n"
    text += '[printer]\nname = "resin_small"\nlayer_mm = 0.03\n'
    for name in ("base", "own_base", "socket", "funnel", "gates", "vents", "pose", "shrinkage",
                 "mould"):  # fmt: skip
        text += _toml(name, getattr(job, name))
    return text + "[bench]\n" + _bench_rows()


def _bench_rows() -> str:
    rows = [f"{k} = {json.dumps(v)}" for k, v in Job().bench.table().items()]
    rows += ['pot_diameter_mm = 240', "pot_height_mm = 260", "chamber_height_mm = 300.5",
             "chamber_diameter_mm = 280"]
    return "\n".join(row for row in rows if "marked" not in row) + (
        '\npot_marked_most = "60 psi gauge"\n'
    )


_POURS = (
    {"schema": 1, "when": "2026-11-25T14:30+00:00", "figure": "heron",
     "materials": {"resin": "epoxy"}, "temperature_c": 21.5, "minutes": {"mix": 1.5}, "casts": 2,
     "bubbles": [{"at_mm": [1, 2, -5], "diameter_mm": 0.6, "note": "wing"}], "note": "first"},
    {"schema": 1, "when": "2026-11-26T09:00+00:00", "figure": "heron", "casts": 1},
)  # fmt: skip


@cache
def seeds(kind: str) -> tuple[bytes, ...]:
    """Sound files of a kind; the same every time."""
    if kind in MODELS:
        return tuple(data for parts in bodies() for data in _model(kind, parts))
    if kind == "job":
        return (_job().encode(), b'[base]\nkind = "stepped_plinth"\ntext = "No. 7"\n')
    if kind == "plan":
        return (to_json(plan_to_dict(example_plan())),)
    if kind in ("resin", "silicone"):
        return (resources.files("pourwright.shop").joinpath(f"{kind}s.toml").read_bytes(),)
    if kind == "bench":
        return (("[bench]\n" + _bench_rows()).encode(),)
    if kind == "pours":
        return ("\n".join(map(json.dumps, _POURS)).encode() + b"\n",)
    return (b"x,y,z,weight\n1,2,3,0.5\n# feet\n4 5 6\n-1e1, 2.5, 0.25, 1\n",)
