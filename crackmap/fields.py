"""Typed reading of a JSON object: every mistake is one sentence that names the field."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from typing import Any, TypeVar

import numpy as np

from crackmap.errors import JobError, quoted
from crackmap.records import FloatArray, frozen_array

T = TypeVar("T")
_MISSING: Any = object()
MOST_LETTERS = 10_000  # of a name or note: more is a damaged file, and no sheet could show it
MOST_ENTRIES = 5_000  # of a list of objects: no slab has so many cracks, no plan so many keys
LEAST_AREA = 0.01  # of an outline: less is a line or a point [mm2]
_HALF = re.compile("[\ud800-\udfff]")  # one of two code units; JSON can write it, UTF-8 cannot
GREATEST_MM = 1e6  # a kilometre: anything longer in a job file is a mistake


class Fields:
    """One JSON object of a job file, with the path to it for messages.

    Parameters
    ----------
    mapping : object
        What JSON gave; must be an object.
    where : str
        File and path so far, as in "survey.json: cracks[2]".
    """

    def __init__(self, mapping: Any, where: str) -> None:
        if not isinstance(mapping, dict):
            raise JobError(f"{where} must be a JSON object; mend the file or make the job again.")
        self._mapping: dict[str, Any] = mapping
        self._where = where

    def wrong(self, name: str, must: str) -> JobError:
        """The error for field `name`, which `must` say what it should be."""
        return JobError(f"{self.path_of(name)} {must}; mend the file or make the job again.")

    def has(self, name: str) -> bool:
        """True if the field is there and not null."""
        return self._mapping.get(name) is not None

    def expect_form(self, schema: str) -> None:
        """Check schema and units fields."""
        if self._mapping.get("schema") != schema:
            raise self.wrong("schema", f"must be {quoted(schema)}, not {quoted(self._mapping.get('schema'))}")
        if self._mapping.get("units") != "mm":
            raise self.wrong("units", f"must be 'mm', not {quoted(self._mapping.get('units'))}")

    def _get(self, name: str, default: Any) -> Any:
        value = self._mapping.get(name, _MISSING)
        if value is _MISSING or value is None:
            if default is _MISSING:
                raise self.wrong(name, "is missing")
            return default
        return value

    def number(self, name: str, default: Any = _MISSING, least: float = -GREATEST_MM,
               most: float = GREATEST_MM) -> Any:
        """A finite number between `least` and `most`."""
        value = self._get(name, default)
        if value is default and not isinstance(value, (int, float)):
            return value
        if isinstance(value, bool) or not isinstance(value, (int, float)) or value != value:
            raise self.wrong(name, f"must be a number, not {quoted(value)}")
        if not least <= value <= most:  # compared before it becomes a float: an integer may have no float
            raise self.wrong(name, f"must be between {least:g} and {most:g}, not {quoted(value)}")
        return float(value)

    def text(self, name: str, default: Any = _MISSING, choices: tuple[str, ...] = ()) -> Any:
        """A string, one of `choices` if any are given."""
        value = self._get(name, default)
        if value is default and not isinstance(value, str):
            return value
        if not isinstance(value, str):
            raise self.wrong(name, f"must be text, not {quoted(value)}")
        self._check_text(name, value)
        if choices and value not in choices:
            raise self.wrong(name, f"must be one of {', '.join(choices)}, not {quoted(value)}")
        return value

    def flag(self, name: str, default: bool = False) -> bool:
        """true or false."""
        value = self._get(name, default)
        if not isinstance(value, bool):
            raise self.wrong(name, f"must be true or false, not {quoted(value)}")
        return value

    def texts(self, name: str) -> tuple[str, ...]:
        """A list of strings; none if the field is missing."""
        value = self._get(name, [])
        if not isinstance(value, list) or not all(isinstance(item, str) for item in value):
            raise self.wrong(name, "must be a list of texts")
        for item in value:
            self._check_text(name, item)
        return tuple(value)

    def _check_text(self, name: str, text: str) -> None:
        if len(text) > MOST_LETTERS:
            raise self.wrong(name, f"may have {MOST_LETTERS} letters at most, not {len(text)}")
        if not text.isascii() and _HALF.search(text):
            raise self.wrong(name, f"holds half a character, which no file can hold: {quoted(text)}")

    def numbers(self, name: str, count: int | None = None) -> FloatArray:
        """A list of numbers, of `count` of them if given."""
        return self._array(name, self._get(name, _MISSING), (count,))

    def rows(self, name: str, columns: int, least: int = 0, default: Any = _MISSING) -> FloatArray:
        """A list of rows of `columns` numbers, shape (N, columns)."""
        value = self._get(name, default)
        array = self._array(name, value, (None, columns))
        if len(array) < least:
            raise self.wrong(name, f"must have at least {least} rows of {columns} numbers, not {len(array)}")
        return array

    def ring(self, name: str, may_cross: bool = False) -> FloatArray:
        """The corners of an area, shape (N, 2), closed or not; it may not cross itself unless `may_cross`. [mm]"""
        from shapely import Polygon  # only files with areas need it

        array = self.rows(name, 2, least=3)
        polygon = Polygon(array)
        if not may_cross and not polygon.is_valid:
            raise self.wrong(name, "crosses or touches itself; give its corners in order, once round")
        # A measured outline may touch itself by rounding; one without width is no outline.
        if polygon.convex_hull.area < LEAST_AREA:
            raise self.wrong(name, f"must enclose an area of at least {LEAST_AREA:g} mm2")
        return array

    def lines(self, name: str, columns: int, least: int = 0, most: int = MOST_ENTRIES) -> tuple[FloatArray, ...]:
        """A list of at most `most` lists of rows, each as `rows` reads it; none if the field is missing."""
        value = self._get(name, [])
        if not isinstance(value, list):
            raise self.wrong(name, "must be a list of lines")
        self._check_count(name, value, most)
        each = Fields({f"{name}[{index}]": line for index, line in enumerate(value)}, self._where)
        return tuple(each.rows(f"{name}[{index}]", columns, least) for index in range(len(value)))

    def _array(self, name: str, value: Any, shape: tuple[int | None, ...]) -> FloatArray:
        form = "a list of numbers" if len(shape) == 1 else f"a list of rows of {shape[1]} numbers"
        if len(shape) == 1 and shape[0] is not None:
            form = f"a list of {shape[0]} numbers"
        if not isinstance(value, list):
            raise self.wrong(name, f"must be {form}")
        if not value and len(shape) == 2:
            return frozen_array([], shape[1])
        flat = [n for row in value for n in (row if isinstance(row, list) else [row])]
        if any(isinstance(n, bool) or not isinstance(n, (int, float)) for n in flat):
            raise self.wrong(name, f"must be {form}")
        try:
            array = np.array(value, dtype=float)
        except (ValueError, OverflowError) as problem:
            raise self.wrong(name, f"must be {form}") from problem
        fits = array.ndim == len(shape) and all(
            want is None or want == got for want, got in zip(shape, array.shape, strict=True))
        if not fits or not np.isfinite(array).all() or (np.abs(array) > GREATEST_MM * 1e3).any():
            raise self.wrong(name, f"must be {form}, each finite")
        return frozen_array(array)

    def inner(self, name: str) -> Fields:
        """The object in field `name`."""
        return Fields(self._get(name, _MISSING), self.path_of(name))

    def inner_or_empty(self, name: str) -> Fields:
        """The object in field `name`; an empty one if it is missing."""
        return Fields(self._get(name, {}), self.path_of(name))

    def each(self, name: str, build: Callable[[Fields], T], default: Any = _MISSING,
             most: int = MOST_ENTRIES) -> tuple[T, ...]:
        """`build` applied to each object of a list of at most `most`."""
        return tuple(build(item) for item in self._items(name, default, most))

    def _check_count(self, name: str, listed: list[Any], most: int) -> None:
        if len(listed) > most:
            raise self.wrong(name, f"may have {most} entries at most, not {len(listed)}")

    def _items(self, name: str, default: Any, most: int) -> Iterator[Fields]:
        value = self._get(name, default)
        if not isinstance(value, list):
            raise self.wrong(name, "must be a list of objects")
        self._check_count(name, value, most)
        for index, item in enumerate(value):
            yield Fields(item, f"{self.path_of(name)}[{index}]")

    def only(self, *known: str) -> None:
        """Refuse names that are not `known`: a misspelt edit must not be lost in silence."""
        for name in self._mapping:
            if name not in known:
                raise self.wrong(name, f"is not known here; known names are {', '.join(known)}")

    def raw(self, name: str, default: Any = None) -> Any:
        """The field as JSON gave it."""
        return self._mapping.get(name, default)

    def path_of(self, name: str) -> str:
        """File and path of field `name`, for messages."""
        shown = name if name.isprintable() and len(name) <= 60 else quoted(name)
        return f"{self._path()}{shown}"

    def _path(self) -> str:
        return f"{self._where} " if self._where.endswith(":") else f"{self._where}."


def rounded_rows(array: FloatArray, digits: int = 3) -> list[Any]:
    """An array as JSON holds it, to a thousandth of its unit. Any shape."""
    rows: list[Any] = np.round(array, digits).tolist()
    return rows


def rounded(value: float, digits: int = 3) -> float:
    """A figure as JSON holds it, to a thousandth of its unit. In the value's own unit."""
    return round(float(value), digits)
