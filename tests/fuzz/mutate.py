"""Files made wrong on purpose: bytes, and what the formats mean by them."""

from __future__ import annotations

import io
import json
import re
import struct
import zipfile
from collections.abc import Callable
from random import Random

from tests.fuzz.damage import (
    FLOATS,
    NUMBER,
    NUMBERS,
    WHOLES,
    changed_tree,
    cut,
    flip,
    lines,
    long_text,
    numbers,
    splice,
    tree,
    words,
)
from tests.fuzz.seeds import KINDS, seeds

_SEED_TRIES = 20

Way = Callable[[bytes, Random], bytes]


def make_case(kind: str, seed: int, number: int) -> bytes:
    """Return the case of that number; always the same one for the same seed."""
    rng = Random(f"{seed}/{kind}/{number}")
    data = rng.choice(seeds(kind))
    for _ in range(_SEED_TRIES):
        made = data
        for _ in range(rng.choice((1, 1, 1, 2, 3))):
            made = _changed(made, rng.choice(_ways(kind, made)), rng)
        if made != data:
            return made
    return data[:-1]


def _changed(data: bytes, way: Way, rng: Random) -> bytes:
    try:
        return way(data, rng)
    except (AttributeError, TypeError, KeyError, IndexError, ValueError, RecursionError):
        return flip(data, rng)  # what an earlier change left is not of that form any more


def kind_of(number: int) -> str:
    """Kinds in turn; models, which have most to go wrong, twice as often as the rest."""
    turn = KINDS[:5] + KINDS
    return turn[number % len(turn)]


def _ways(kind: str, data: bytes) -> list[Way]:
    ways: list[Way] = [flip, cut, splice]
    text: list[Way] = [numbers, numbers, numbers, lines, words, long_text]
    if kind == "stl":
        return ways + (text if data[:5] == b"solid" and b"facet" in data[:300] else [stl] * 6)
    if kind == "obj":
        return ways + text + [obj, obj, obj]
    if kind == "ply":
        return ways + [ply] * 5 + (text if b"format ascii" in data[:40] else [])
    if kind == "3mf":
        return ways + [threemf] * 9
    if kind == "glb":
        return ways + [glb] * 9
    if kind in ("plan", "pours"):
        return ways + text + [tree] * 9
    return ways + text + ([toml] * 6 if kind != "protect" else [])


def stl(data: bytes, rng: Random) -> bytes:
    """Change triangles of a binary STL, or how many it says there are."""
    if len(data) < 134:
        return data + b"\0" * 50
    head, body = data[:80], data[84:]
    rows = [body[i : i + 50] for i in range(0, len(body), 50)]
    count: int | None = None
    way = rng.randrange(7)
    i, j = rng.randrange(len(rows)), rng.randrange(len(rows))
    if way == 0:
        count = rng.choice((*WHOLES, len(rows) - 1, len(rows) + 1))
    elif way == 1:
        del rows[i]
    elif way == 2:
        rows.append(rows[i])
    elif way == 3:
        row = bytearray(rows[i].ljust(50, b"\0"))
        at = 12 + 4 * rng.randrange(9)
        row[at : at + 4] = struct.pack("<f", rng.choice(FLOATS))
        rows[i] = bytes(row)
    elif way == 4:
        row = rows[i]
        rows[i] = row[:12] + row[24:36] + row[12:24] + row[36:]
    elif way == 5:
        rows = [r[:12] + r[24:36] + r[12:24] + r[36:] for r in rows]
    else:
        head = rng.choice((b"solid facet", b"\0", b"solid", b"SOLID endsolid")).ljust(80, b" ")
        del rows[min(i, j) : max(i, j)]
    count = len(rows) if count is None else max(count, 0)
    return head[:80] + struct.pack("<I", count) + b"".join(rows)


_OBJ_LINES = (
    b"f 1 2", b"f 1 2 3 4 5 6 7", b"f 1//1 2//2 3//3", b"f -1 -2 -3", b"f 0 1 2", b"f 1 1 1",
    b"f 1/2/3 4/5/6 7/8/9", b"v 1 2", b"v 1 2 3 0.5", b"v 1 2 3 0.1 0.2 0.3", b"vn 0 0 1", b"vt 0",
    b"mtllib ../../etc/passwd", b"mtllib missing.mtl", b"usemtl x", b"o two", b"g", b"s off",
    b"l 1 2", b"p 1", b"curv 0 1 1 2", b"f 1 2 3\\", b"call other.obj", b"f 1 2 99999999999999",
    b"f a b c", b"f 1.5 2 3", b"f 1/ 2/ 3/", b"f 1 2 3 3", b"f " + b"1 2 3 " * 400,
)  # fmt: skip


def obj(data: bytes, rng: Random) -> bytes:
    """Put another statement into an OBJ, or turn its numbers about."""
    rows = data.split(b"\n")
    way = rng.randrange(4)
    if way == 0:
        rows.insert(rng.randrange(len(rows) + 1), rng.choice(_OBJ_LINES))
    elif way == 1:
        points = sum(row.startswith(b"v ") for row in rows)
        rows = [
            b"f " + b" ".join(b"%d" % (int(w) - points - 1) for w in row.split()[1:])
            if re.fullmatch(rb"f( \d+)+", row) else row
            for row in rows
        ]  # fmt: skip
    elif way == 2:
        chosen = [i for i, row in enumerate(rows) if row.startswith(b"f ")]
        if chosen:
            i = rng.choice(chosen)
            parts = rows[i].split()
            rows[i] = b" ".join([parts[0], *parts[:0:-1]])
    else:
        rows = [b"f " + b" ".join(w + b"/1/1" for w in row.split()[1:]) if row[:2] == b"f " else row
                for row in rows]  # fmt: skip
    return b"\n".join(rows)


_PLY_TYPES = (b"char", b"uchar", b"short", b"int", b"uint", b"float", b"double", b"int64", b"list")


def ply(data: bytes, rng: Random) -> bytes:
    """Change what a PLY's header says, or numbers in its body."""
    head, mark, body = data.partition(b"end_header\n")
    rows = head.split(b"\n")
    way = rng.randrange(7)
    if way == 0:
        return re.sub(
            rb"(element (?:vertex|face) )(\d+)",
            lambda m: m[1] + str(
                rng.choice((*WHOLES, int(m[2]) - 1, int(m[2]) + 1, -1, int(m[2]) // 2, 10**18))
            ).encode() if rng.random() < 0.6 else m[0],
            head,
        ) + mark + body  # fmt: skip
    i = rng.randrange(len(rows))
    if way == 1:
        for one in _PLY_TYPES:
            if one in rows[i]:
                rows[i] = rows[i].replace(one, rng.choice(_PLY_TYPES), 1)
                break
    elif way == 2:
        del rows[i]
    elif way == 3:
        rows.insert(i, rng.choice((*rows, b"element edge 3", b"property list int int x",
                                   b"property list uchar float vertex_index", b"obj_info x",
                                   b"property uchar red", b"property float protect")))  # fmt: skip
    elif way == 4:
        forms = (b"ascii", b"binary_little_endian", b"binary_big_endian")
        head = re.sub(rb"format \w+", b"format " + rng.choice(forms), head)
        return head + mark + body
    elif len(body) > 4:
        at = rng.randrange(len(body) - 3)
        new = rng.choice(
            (struct.pack(rng.choice("<>") + "f", rng.choice(FLOATS)),
             struct.pack(rng.choice("<>") + "I", rng.choice(WHOLES)))
        )  # fmt: skip
        body = body[:at] + new + body[at + 4 :]
    return b"\n".join(rows) + mark + body


_XML_BITS = (
    b"<!DOCTYPE m [<!ENTITY a 'b'>]>", b"&a;", b"&#0;", b"&lt;", b"<!--", b"<![CDATA[", b"]]>",
    b"<mesh/>", b"<object/>", b"<vertices/>", b"<triangles/>", b"<build/>", b"</object>", b"<a>",
    b"<?x?>", b'<item objectid="1"/>', b'<item objectid="77"/>', b'<component objectid="9"/>',
    b'<item objectid="1" transform="1 0 0 0 1 0 0 0 1 0 0 0"/>', b"\0", b"<a" * 2000, b"<a>" * 9000,
    b'<object id="1" type="support"><mesh/></object>', b'<component objectid="1"/>',
    b'<triangle v1="0" v2="1" v3="2"/>', b'<vertex x="0" y="0" z="0"/>',
)  # fmt: skip
_TURNS = (
    "1 0 0 0 1 0 0 0 1", "0 0 0 0 0 0 0 0 0 0 0 0", "nan 0 0 0 1 0 0 0 1 0 0 0", "a b c",
    "1e200 0 0 0 1 0 0 0 1 0 0 0", "-1 0 0 0 1 0 0 0 1 0 0 0", "1 0 0 0 1 0 0 0 1 1e9 0 0", "",
    "1 0 0 0 1 0 0 0 0 0 0 0", "2 0 0 0 3 0 0 0 4 1 2 3", "1 0.5 0 0 1 0 0 0 1 0 0 0",
)  # fmt: skip


def threemf(data: bytes, rng: Random) -> bytes:
    """Change the XML in a 3MF, its parts, or what the zip says of them."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as package:
            parts = {name: package.read(name) for name in package.namelist()}
    except Exception:
        return flip(data, rng)
    name = "3D/3dmodel.model"
    xml = parts.get(name, b"")
    way = rng.randrange(12)
    if way < 3:
        xml = rng.choice((numbers, numbers, words, lines, cut))(xml, rng)
    elif way == 3:
        spots = [m.start() for m in re.finditer(rb"<", xml)] or [0]
        at = rng.choice(spots)
        xml = xml[:at] + rng.choice(_XML_BITS) + xml[at:]
    elif way == 4:
        tags = list(re.finditer(rb"<[^>]*>", xml))
        if tags:
            one = rng.choice(tags)
            xml = xml[: one.start()] + one[0] * rng.choice((0, 2)) + xml[one.end() :]
    elif way == 5:
        unit = rng.choice(("micron", "inch", "foot", "meter", "centimeter", "furlong", "", "MM"))
        xml = re.sub(rb'unit="\w*"', f'unit="{unit}"'.encode(), xml)
    elif way == 6:
        turn = f'transform="{rng.choice(_TURNS)}"'.encode()
        if b"transform" in xml:
            xml = re.sub(rb'transform="[^"]*"', turn, xml, count=rng.choice((0, 1)))
        else:
            xml = xml.replace(b"<item ", b"<item " + turn + b" ")
    elif way == 7:
        xml = rng.choice((
            xml.decode("utf-8", "replace").encode("utf-16"), xml.replace(b"UTF-8", b"latin-1"),
            xml.replace(b"UTF-8", b"none"), xml.replace(b"2015/02", b"2019/09"),
            xml.replace(b'id="9"', b'id="1"'), xml.replace(b'objectid="1"', b'objectid="9"'),
            re.sub(rb"<triangles>.*?</triangles>", b"", xml, count=1, flags=re.DOTALL),
            re.sub(rb"<object .*?</object>", b"", xml, count=1, flags=re.DOTALL),
            re.sub(rb"(<vertex )", rb'\1q="1" ', xml), re.sub(rb"[xyz]=", b"x=", xml, count=1),
        ))  # fmt: skip
    elif way == 8:
        return _changed_zip(data, rng)
    if name in parts:
        parts[name] = xml
    if way == 9:
        del parts[rng.choice(list(parts))]
    elif way == 10:
        other = rng.choice(
            ("../../evil", "3D/3DMODEL.MODEL", "a/3D/3dmodel.model", "/etc/x", "C:x")
        )
        parts = {other: rng.choice((b"x", xml))} | parts
    elif way == 11:
        parts["3D/padding.xml"] = b"<a/>" * rng.choice((10, 100_000))
    stream = io.BytesIO()
    method = rng.choice((zipfile.ZIP_DEFLATED, zipfile.ZIP_DEFLATED, zipfile.ZIP_STORED))
    with zipfile.ZipFile(stream, "w", method) as target:
        for part, content in parts.items():
            target.writestr(part, content)
    return stream.getvalue()


def _changed_zip(data: bytes, rng: Random) -> bytes:
    """Change a field of a zip's directory: sizes, offsets, flags, methods, counts."""
    changed = bytearray(data)
    spots = [m.start() for m in re.finditer(rb"PK(?:\x01\x02|\x03\x04|\x05\x06)", data)]
    if not spots:
        return data
    at = rng.choice(spots) + rng.randrange(4, 46)
    width = rng.choice((2, 4))
    if at + width <= len(changed):
        changed[at : at + width] = struct.pack("<Q", rng.choice(WHOLES))[:width]
    return bytes(changed)


_GLB_BITS = (
    ("accessors", {"componentType": 5126, "count": 10**9, "type": "VEC3"}),
    ("accessors", {"componentType": 5126, "count": 3, "type": "VEC3", "sparse": {"count": 1}}),
    ("bufferViews", {"buffer": 0, "byteLength": 2**40}),
    ("buffers", {"byteLength": 10, "uri": "file:///etc/hostname"}),
    ("buffers", {"byteLength": 10, "uri": "data:application/octet-stream;base64,AAAA"}),
    ("images", {"uri": "../../secret.png"}), ("images", {"bufferView": 0, "mimeType": "image/png"}),
    ("nodes", {"mesh": 0, "children": [0]}), ("nodes", {"mesh": 0, "scale": [0, 0, 0]}),
    ("nodes", {"mesh": 0, "rotation": [0, 0, 0, 0]}), ("materials", {"pbrMetallicRoughness": 3}),
    ("extensionsRequired", "KHR_draco_mesh_compression"), ("skins", {"joints": [0]}),
    ("animations", {}), ("scenes", {"nodes": [0, 0]}), ("scenes", {"nodes": [99]}),
)  # fmt: skip


def glb(data: bytes, rng: Random) -> bytes:
    """Change a GLB's JSON, its numbers, or the lengths of its chunks."""
    try:
        size = struct.unpack("<I", data[12:16])[0]
        root, rest = json.loads(data[20 : 20 + size]), data[20 + size :]
    except (ValueError, struct.error, RecursionError):
        return flip(data, rng)
    if len(rest) < 12 or not isinstance(root, dict):
        return flip(data, rng)
    blob = bytearray(rest[8:])
    way = rng.randrange(9)
    if way < 4:
        root = changed_tree(root, rng)
    elif way == 4:
        key, value = rng.choice(_GLB_BITS)
        had = root.get(key, [])
        if isinstance(had, list):
            spot = rng.choice((0, len(had)))
            root[key] = [*had[:spot], value, *had[spot + rng.choice((0, 1)) :]]
    elif way == 5 and len(blob) > 4:
        at = 4 * rng.randrange(len(blob) // 4)
        blob[at : at + 4] = rng.choice(
            (struct.pack("<f", rng.choice(FLOATS)), struct.pack("<I", rng.choice(WHOLES)))
        )
    elif way == 6:
        for node in root.get("nodes", []):
            if isinstance(node, dict) and rng.random() < 0.5:
                node["matrix"] = rng.choice((
                    [0] * 16, [1] * 16, [1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1, 0, 1e9, 0, 0, 1],
                    [-1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1], [1e200] * 16, [1] * 9,
                    [2, 0, 0, 0, 0, 3, 0, 0, 0, 0, 4, 0, 1, 2, 3, 1], ["a"] * 16,
                ))  # fmt: skip
    elif way == 7:
        # A transform that shears or a mesh used twice.
        root.setdefault("nodes", [{}]).append({"mesh": 0, "translation": [0, 0.1, 0]})
        for scene in root.get("scenes", []):
            if isinstance(scene, dict) and isinstance(scene.get("nodes"), list):
                scene["nodes"].append(len(root["nodes"]) - 1)
    text = json.dumps(root).encode()
    text += b" " * (-len(text) % 4)
    parts = [len(text), len(blob), 28 + len(text) + len(blob), 2]
    if way == 8:
        parts[rng.randrange(4)] = rng.choice((*WHOLES, 12, parts[2] - 4, parts[2] + 4))
    kinds = [0x4E4F534A, 0x004E4942]
    if way == 8 and rng.random() < 0.3:
        kinds[rng.randrange(2)] = rng.choice(WHOLES)
    return (
        struct.pack("<4sII", b"glTF", parts[3], parts[2]) + struct.pack("<II", parts[0], kinds[0])
        + text + struct.pack("<II", parts[1], kinds[1]) + bytes(blob)
    )  # fmt: skip


_TOML_VALUES = (
    '""', '"x"', "true", "false", "-1", "0", "1", "2", "1e308", "nan", "inf", "-inf", "1e-300",
    "[]", "[1, 2, 3]", "[[]]", "[nan, 0, 1]", "{}",
    "{ a = 1 }", "2026-01-01", "12:00:00",
    "9" * 400, '"\\u0000"', '"a\\nb"', '"\\u001b[2J"', "0.5", "100", "1000", "0x7fffffffffffffff",
    "['a']", "[0, 0, -1]", "[1e9, 1e9, 1e9]", '"round"', '"none"', '"vacuum"', "9" * 6000,
    '"' + "y" * 300 + '"',
)  # fmt: skip


def toml(data: bytes, rng: Random) -> bytes:
    """Give a key of a TOML another value, another name or another table."""
    rows = data.split(b"\n")
    keyed = [i for i, row in enumerate(rows) if b"=" in row]
    heads = [i for i, row in enumerate(rows) if row.startswith(b"[")]
    way = rng.randrange(7)
    if way < 4 and keyed:
        i = rng.choice(keyed)
        key, _, old = rows[i].partition(b"=")
        value = rng.choice(_TOML_VALUES).encode()
        if rng.random() < 0.4:
            value = NUMBER.sub(lambda m: rng.choice(NUMBERS).encode(), old, count=1)
        rows[i] = key + b"= " + value
    elif way == 4 and keyed:
        i = rng.choice(keyed)
        new = rng.choice((b"x = 1", b'"" = 1', b"a.b.c = 1", b'"\\u0000" = 2'))
        rows[i] = new + b"\n" + rows[i]
    elif way == 5 and heads:
        i = rng.choice(heads)
        rows[i] = rng.choice((
            rows[i] * 2, b"[" + rows[i] + b"]", b"[x]", b"[a" + b".a" * 3000 + b"]",
            b'["\\u0007"]', b"['']", b"[" + rows[i].strip(b"[]") + b".x]",
        ))  # fmt: skip
    elif heads:
        i, j = rng.choice(heads), rng.choice(heads)
        rows[i], rows[j] = rows[j], rows[i]
    return b"\n".join(rows)
