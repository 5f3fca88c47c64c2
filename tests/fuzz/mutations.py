"""Changes to valid input, small enough to pass the first checks: bytes, JSON trees and their text.

Every function takes a `random.Random`, so that a run repeats by its seed and
hypothesis may stand behind it and shrink what it finds.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Callable
from random import Random
from typing import Any

DEEP = 100_000  # levels of the deepest nesting
LONG = 200_000  # letters of the longest text
MANY, FEW = 3_000, 40  # entries of a long list: numbers or rows, objects

# Numbers at the edges of what readers, floats and integers hold.
NUMBERS: tuple[Any, ...] = (
    0, -0.0, 1, -1, 2, 3, 0.5, 1e-9, -1e-9, 5e-324, 1e-3, 100, 1e3, 1e4, 1e5, 999_999.0, 1e6, 1e6 + 1, -1e6, 1e9, -1e9,
    1e12, 1e15, 1e100, 1.7976931348623157e308, -1e308, math.nan, math.inf, -math.inf, 255, 256, 65_535, 2**31, -(2**31),
    2**53 + 1, 2**63, 2**64, 10**30, 10**400, -(10**400), 90, 180, 360, 361, 45.0, 25.4)
TEXTS: tuple[str, ...] = (
    "", " ", "a", "\x00", "\n", "line\nbreak", "\ud800", "K\udfff1", "\ufeff", "\u202e", "é", "日本", "🪵", "../../etc",
    "/", "..", ".", "C:\\x", "<b>&", "%s{0}", "nan", "1e999", "-1", "C1", "K1", "V1", "round", "two-lobe", "straight",
    "edge", "tip", "x" * 300, "𝔘" * 50, "\x1b[31m", "(\\", "{}", "null", "45mm", "crackmap/survey/1")
# Written into the text in the place of a value, because no tree can hold them.
RAW = {
    "@deep list@": "[" * DEEP + "]" * DEEP, "@deep object@": '{"a":' * DEEP + "1" + "}" * DEEP,
    "@some depth@": "[" * 500 + "1" + "]" * 500, "@long integer@": "9" * 5000, "@beyond float@": "1e999",
    "@long text@": '"' + "w" * LONG + '"', "@long fraction@": "0." + "3" * 5000,
    "@many zeros@": "[" + "0," * MANY + "0]",
}

Where = tuple[Any, Any]  # a list or object, and the index or name in it


def mutated_bytes(content: bytes, others: list[bytes], random: Random) -> bytes:
    """Content with one to four stretches of bytes changed, cut out, repeated or taken from another input."""
    changed = bytearray(content)
    for _ in range(random.choice((1, 1, 2, 4))):
        random.choice(_BYTE_CHANGES)(changed, others, random)
    return bytes(changed)


def _flip(content: bytearray, _: list[bytes], random: Random) -> None:
    for _each in range(random.choice((1, 1, 1, 8, 64))):
        if content:
            content[random.randrange(len(content))] ^= 1 << random.randrange(8)


def _overwrite(content: bytearray, _: list[bytes], random: Random) -> None:
    width = random.choice((1, 2, 4, 8))
    value = random.choice((0, 1, 0x7F, 0x80, 0xFF, 0x7FFF, 0xFFFF, 0x7FFFFFFF, 0xFFFFFFFF, 20_000, 2**63, 2**64 - 1))
    at = _place(content, random)
    content[at : at + width] = (value % 256**width).to_bytes(width, random.choice(("little", "big")))


def _cut_out(content: bytearray, _: list[bytes], random: Random) -> None:
    at = _place(content, random)
    del content[at : at + _stretch(content, random)]


def _cut_short(content: bytearray, _: list[bytes], random: Random) -> None:
    del content[_place(content, random) :]


def _repeat(content: bytearray, _: list[bytes], random: Random) -> None:
    at = _place(content, random)
    content[at:at] = content[at : at + _stretch(content, random)] * random.choice((1, 2, 50))


def _splice(content: bytearray, others: list[bytes], random: Random) -> None:
    other = random.choice(others) if others else b""
    at, start = _place(content, random), _place(other, random)
    piece = other[start : start + _stretch(content, random)]
    content[at : at + (len(piece) if random.random() < 0.5 else 0)] = piece


def _scatter(content: bytearray, _: list[bytes], random: Random) -> None:
    at = _place(content, random)
    content[at:at] = bytes(random.randrange(256) for _each in range(random.choice((1, 4, 32))))


def _place(content: bytes | bytearray, random: Random) -> int:
    """Headers are near the start: half of all places are."""
    most = len(content) if random.random() < 0.5 else min(len(content), 200)
    return random.randint(0, most)


def _stretch(content: bytes | bytearray, random: Random) -> int:
    return random.choice((1, 2, 4, 16, 100, max(1, len(content) // 4)))


_BYTE_CHANGES: tuple[Callable[[bytearray, list[bytes], Random], None], ...] = (
    _flip, _flip, _overwrite, _overwrite, _cut_out, _cut_short, _repeat, _splice, _scatter)


# --- trees --------------------------------------------------------------------------------------------------


def mutated_tree(tree: Any, random: Random) -> Any:
    """A JSON tree with one to three changes; changed in place, and returned because its root may be another."""
    for _ in range(random.choice((1, 1, 2, 3))):
        where = _somewhere(tree, random)
        if where is None or random.random() < 0.01:
            tree = random.choice(([], {}, None, 1, "text", [tree], "@deep list@"))
            continue
        random.choice(_TREE_CHANGES)(tree, where, random)
    return tree


def _somewhere(tree: Any, random: Random, stay: float = 0.15) -> Where | None:
    """A random entry of the tree, deep more often than not."""
    where: Where | None = None
    here = tree
    while isinstance(here, (list, dict)) and here and (where is None or random.random() > stay):
        name = random.choice(list(here)) if isinstance(here, dict) else random.randrange(len(here))
        where, here = (here, name), here[name]
    return where


def _strange(_: Any, where: Where, random: Random) -> None:
    kinds: tuple[tuple[Any, ...], ...] = (NUMBERS, TEXTS, tuple(RAW),
                                         (None, True, False, [], {}, [[]], [{}], [None], [1], [1, 2], [[1, 2]]))
    where[0][where[1]] = random.choice(random.choice(kinds))


def _other_number(_: Any, where: Where, random: Random) -> None:
    value = where[0][where[1]]
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        value = value if abs(value) < 1e18 or isinstance(value, float) else 7  # larger integers have no float
        where[0][where[1]] = random.choice((
            -value, value * 10, value * 1000, value / 1000, value + 1, value - 1, value + random.gauss(0, 50),
            random.uniform(-1000, 2000), random.choice(NUMBERS)))
    elif isinstance(value, bool):
        where[0][where[1]] = not value
    elif isinstance(value, str):
        where[0][where[1]] = random.choice((value.upper(), value[:-1], value + "x", value * 100, random.choice(TEXTS)))
    elif isinstance(value, list):
        _other_list(None, where, random)


def _other_list(_: Any, where: Where, random: Random) -> None:
    """Another order, length or scale of a list: rows of points then cross, double back or fall together."""
    value = where[0][where[1]]
    if not isinstance(value, list) or not value:
        return
    at = random.randrange(len(value))
    many = FEW if isinstance(value[0], dict) else MANY
    where[0][where[1]] = random.choice((
        lambda: [], lambda: value[:1], lambda: value[:2], lambda: value[::-1], lambda: value[at:] + value[:at],
        lambda: random.sample(value, len(value)), lambda: value + value, lambda: value[:at] * 2 + value[at:],
        lambda: [value[0]] * len(value), lambda: value * (1 + many // len(value)), lambda: value + [value[0]],
        lambda: _scaled(value, random.choice((0.0, 1e-6, 1e-3, 30.0, 1e3, -1.0))),
        lambda: [_scaled(v, 1.0 + random.gauss(0, 0.2)) for v in value]))()


def _scaled(value: Any, factor: float) -> Any:
    if isinstance(value, list):
        return [_scaled(v, factor) for v in value]
    return value * factor if isinstance(value, float) else value


def _leave_out(_: Any, where: Where, random: Random) -> None:
    del where[0][where[1]]


def _misname(_: Any, where: Where, random: Random) -> None:
    holder, name = where
    if isinstance(holder, dict):
        holder[random.choice((name + "x", name.upper(), "", "unknown", random.choice(TEXTS)))] = holder.pop(name)


def _from_elsewhere(tree: Any, where: Where, random: Random) -> None:
    other = _somewhere(tree, random, 0.3)
    if other is not None:
        where[0][where[1]] = json.loads(json.dumps(other[0][other[1]], default=str))


def _wrap(_: Any, where: Where, random: Random) -> None:
    value = where[0][where[1]]
    where[0][where[1]] = random.choice(([value], [value] * 2, {"a": value}, str(value)[:100]))


_TREE_CHANGES: tuple[Callable[[Any, Where, Random], None], ...] = (
    _strange, _strange, _other_number, _other_number, _other_number, _other_list, _other_list, _leave_out, _misname,
    _from_elsewhere, _wrap)


# --- trees as text ------------------------------------------------------------------------------------------


def json_text(tree: Any) -> bytes:
    """The tree as JSON with what RAW stands for; lone surrogates are written as escapes."""
    return _with_raw(json.dumps(tree))


def toml_text(tree: Any) -> bytes:
    """The tree as TOML: tables inline; what TOML cannot say is left as JSON says it."""
    if not isinstance(tree, dict):
        return _with_raw(_toml(tree))
    return _with_raw("\n".join(f"{json.dumps(str(name))} = {_toml(value)}" for name, value in tree.items()))


def _toml(value: Any) -> str:
    if isinstance(value, dict):
        return "{" + ", ".join(f"{json.dumps(str(k))} = {_toml(v)}" for k, v in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(_toml, value)) + "]"
    if isinstance(value, float) and not math.isfinite(value):
        return str(value)
    return json.dumps(value)


def _with_raw(text: str) -> bytes:
    if "@" in text:
        text = re.sub(r'"(@[a-z ]+@)"', lambda match: RAW.get(match[1], match[0]), text)
    return text.encode("utf-8", "surrogatepass")


def mutated_json(content: bytes, others: list[bytes], random: Random, write: Callable[[Any], bytes] = json_text,
                 read: Callable[[bytes], Any] = json.loads) -> bytes:
    """Valid JSON with its tree changed, now and then its text: a name twice, bytes damaged.

    `write` and `read` may be those of another language with such trees.
    """
    drawn = random.random()
    if drawn < 0.08:
        return mutated_bytes(content, others, random)
    try:
        text = write(mutated_tree(read(content), random))
    except (ValueError, RecursionError):  # damaged or deeply nested already
        return mutated_bytes(content, others, random)
    if drawn < 0.14:
        text = re.sub(rb'("[a-z_]+"): ?(\d[\d.]*|"[^"]*"|\[\]|true|false)', rb"\1: \2, \1: \2", text, count=1)
    return text
