"""Ways to damage any bytes, text or not: a number, a line, a word, a bit; and a tree of JSON."""

from __future__ import annotations

import json
import re
from random import Random

NUMBERS = (
    "0", "-0", "1", "-1", "2", "3", "0.5", "1e-9", "1e-40", "1e-310", "1e6", "1e9", "-1e9", "1e12",
    "1e38", "1e200", "-1e308", "1e309", "nan", "NaN", "-nan", "inf", "-Infinity", "127", "128",
    "255", "256", "32768", "65535", "2147483647", "2147483648", "-2147483648", "4294967295",
    "4294967296", "9223372036854775807", "18446744073709551616", "1" * 400, "1" * 5000, "0x10",
    "1_000", "1,5", "1.5.2", "--3", "+4", "e", "", "٣", "1e", "0000000000000007", ".5", "5.",
)  # fmt: skip
FLOATS = (
    0.0, -0.0, 1e-45, 1e-38, 1e-20, 1e-6, 0.1, 1.0, -1.0, 1e3, 1e6, 1e9, 1e12, 1e20, 3e38, -3e38,
    float("nan"), float("inf"), float("-inf"),
)  # fmt: skip
WHOLES = (
    0, 1, 2, 3, 4, 5, 127, 128, 255, 256, 1000, 65535, 65536, 2**24, 2**31 - 1, 2**31, 2**32 - 1
)  # fmt: skip
NUMBER = re.compile(rb"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?")
_WORD = re.compile(rb"[A-Za-z_]{2,}")


def flip(data: bytes, rng: Random) -> bytes:
    """Change a few bytes."""
    changed = bytearray(data)
    for _ in range(rng.choice((1, 1, 2, 4, 16)) if data else 0):
        at = rng.randrange(len(changed))
        changed[at] = rng.choice((0, 1, 0x7F, 0x80, 0xFF, changed[at] ^ (1 << rng.randrange(8))))
    return bytes(changed)


def cut(data: bytes, rng: Random) -> bytes:
    """Cut the end or a piece off."""
    a, b = sorted((rng.randrange(len(data) + 1), rng.randrange(len(data) + 1)))
    return data[:a] if rng.random() < 0.5 else data[:a] + data[b:]


def splice(data: bytes, rng: Random) -> bytes:
    """Repeat a piece somewhere, or put junk there."""
    a, b = sorted((rng.randrange(len(data) + 1), rng.randrange(len(data) + 1)))
    at = rng.choice((0, len(data), rng.randrange(len(data) + 1)))
    junk = rng.choice((data[a:b], rng.randbytes(40), b"\0" * 200, b"\n", b"\xef\xbb\xbf", b"\r"))
    return data[:at] + junk + data[at:]


def numbers(data: bytes, rng: Random) -> bytes:
    """Put other numbers into a text."""
    found = list(NUMBER.finditer(data))
    for _ in range(rng.choice((1, 1, 1, 3))):
        if not found:
            return data
        one = rng.choice(found)
        other = rng.choice(found)[0]
        new = rng.choice((rng.choice(NUMBERS).encode(), b"%d" % rng.choice(WHOLES), other))
        data = data[: one.start()] + new + data[one.end() :]
        found = list(NUMBER.finditer(data))
    return data


def lines(data: bytes, rng: Random) -> bytes:
    """Take out, repeat, swap or empty lines of a text, or end them in another way."""
    rows = data.split(b"\n")
    i, j = rng.randrange(len(rows)), rng.randrange(len(rows))
    way = rng.randrange(6)
    if way == 0:
        del rows[min(i, j) : max(i, j)]
    elif way == 1:
        del rows[i]
    elif way == 2:
        rows.insert(j, rows[i])
    elif way == 3:
        rows[i], rows[j] = rows[j], rows[i]
    elif way == 4:
        rows[i] = b" ".join(rows[i].split()[: rng.randrange(4)])
    else:
        return rng.choice((b"\r\n", b"\r", b" \n", b"\n\n", b"\\\n")).join(rows)
    return b"\n".join(rows)


def words(data: bytes, rng: Random) -> bytes:
    """Put one word of the text, or an odd one, in the place of another."""
    found = list(_WORD.finditer(data))
    if not found:
        return data
    one, other = rng.choice(found), rng.choice(found)
    new = rng.choice(
        (other[0], other[0], b"", b"\xff\xfe", "größe".encode(), b"true", b'"""', b"#")
    )
    return data[: one.start()] + new + data[one.end() :]


def long_text(data: bytes, rng: Random) -> bytes:
    """Put something very long or very deep somewhere."""
    at = rng.choice((0, len(data), rng.randrange(len(data) + 1)))
    size = rng.choice((300, 5_000, 60_000))
    thing = rng.choice(
        (b"[", b"{", b'{"a":', b"a.", b"a", b"9", b" ", b"\n", b"-", b"1 ", b"'", b"/")
    )
    return data[:at] + thing * size + data[at:]


_ODD = (
    None, True, False, -1, 0, 1, 2, 3, 4, 5, 6, 0.5, -0.0, 1e9, 1e308, float("nan"), float("inf"),
    2**31, 2**32, 2**63, 10**400, "", "x", "a\nb", "\u0000", "\ud800", [], {}, [[]], [None], [1, 2],
    [0, 0, 0], {"a": 1}, "1e5", [1e308] * 3, 5120, 5121, 5123, 5125, 5126, "SCALAR", "VEC3", "MAT4",
)  # fmt: skip


def tree(data: bytes, rng: Random) -> bytes:
    """Change a value of JSON; of JSON lines in one of them."""
    rows = data.split(b"\n") if data.count(b'"schema"') > 1 else [data]
    i = rng.randrange(len(rows))
    try:
        root = json.loads(rows[i])
    except (ValueError, RecursionError):
        return flip(data, rng)
    rows[i] = json.dumps(changed_tree(root, rng)).encode()
    return b"\n".join(rows)


def changed_tree(root: object, rng: Random) -> object:
    """Return JSON data with one thing changed, anywhere in it."""
    places: list[tuple[object, object]] = []
    stack = [root]
    while stack:
        one = stack.pop()
        if not isinstance(one, dict | list):
            continue
        for key in one if isinstance(one, dict) else range(len(one)):
            places.append((one, key))
            stack.append(one[key])  # type: ignore[index]
    if not places:
        return rng.choice(_ODD)
    holder, key = rng.choice(places)
    other, other_key = rng.choice(places)
    way = rng.randrange(6)
    if way < 3:
        holder[key] = rng.choice(_ODD)  # type: ignore[index]
    elif way == 3:
        del holder[key]  # type: ignore[attr-defined]
    elif way == 4:
        holder[key] = json.loads(json.dumps(other[other_key]))  # type: ignore[index]
    elif isinstance(holder, list):
        holder.insert(key, json.loads(json.dumps(holder[key])))  # type: ignore[arg-type]
    else:
        deep: object = 1
        for _ in range(rng.choice((3, 90, 900))):
            deep = [deep]
        holder[key] = deep  # type: ignore[index]
    return root
