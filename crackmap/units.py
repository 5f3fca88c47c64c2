"""Lengths in and out. Millimetres inside, always; inches only at the edges."""

from __future__ import annotations

import math
import re
from fractions import Fraction

from crackmap.errors import LengthError, quoted

MM_PER_INCH = 25.4  # exact: International Yard and Pound Agreement, 1959

_INCH = Fraction("25.4")
_UNITS_MM = {"mm": Fraction(1), "cm": Fraction(10), "m": Fraction(1000), "in": _INCH, "inch": _INCH,
             "inches": _INCH, '"': _INCH, "″": _INCH, "”": _INCH}
_MOST_LETTERS = 60  # of a length: what is longer is none, and matching it could take minutes
_THOUSANDS = re.compile(r"[1-9]\d{0,2},\d{3}")  # 1,203: 1203 to some readers, 1.203 to others
_EXAMPLES = '45mm, 4.5cm, 1.75in, 1-3/4in or 1 3/4"'
_LENGTH = re.compile(
    r"""^\s*(?P<sign>[-+−]?)\s*
    (?:(?P<whole>\d+)\s*[- ]\s*(?P<n1>\d+)\s*/\s*(?P<d1>\d+)   # 1-3/4
      |(?P<n2>\d+)\s*/\s*(?P<d2>\d+)                            # 3/4
      |(?P<number>\d+(?:[.,]\d+)?|[.,]\d+))                     # 1.75
    \s*(?P<unit>mm|cm|m|inches|inch|in|"|″|”)?\s*$""",
    re.VERBOSE | re.IGNORECASE,
)


def parse_length(text: str, name: str = "length", default_unit: str | None = None) -> float:
    """A length typed by a user. [mm]

    Parameters
    ----------
    text : str
        "45mm", "4.5cm", "1.75in", "1-3/4in", '1 3/4"', "-45mm".
    name : str
        What the length is; begins the error message.
    default_unit : {"mm", "in"}, optional
        Unit of a bare number; with None a bare number is an error, because a
        guessed unit is a slab spoiled by a factor of 25.4.

    Raises
    ------
    LengthError
        If `text` is not a length; gives the text and examples.
    """
    match = _LENGTH.match(text) if len(text) <= _MOST_LETTERS else None
    if match is None:
        raise LengthError(f"{name}: {quoted(text)} is not a length; write it like {_EXAMPLES}.")
    if match["number"] and _THOUSANDS.fullmatch(match["number"]):
        raise LengthError(f"{name}: {quoted(text)} may be a thousand or a fraction; write it without the comma, or "
                          "with a point for the decimals.")
    if match["number"]:
        magnitude = Fraction(match["number"].replace(",", "."))
    else:
        denominator = int(match["d1"] or match["d2"])
        if denominator == 0:
            raise LengthError(f"{name}: {quoted(text)} divides by zero; write it like {_EXAMPLES}.")
        magnitude = Fraction(int(match["n1"] or match["n2"]), denominator) + int(match["whole"] or 0)
    unit = (match["unit"] or default_unit or "").lower()
    if not unit:
        raise LengthError(f"{name}: {quoted(text)} has no unit; write it like {_EXAMPLES}.")
    mm = float(magnitude * _UNITS_MM[unit])
    return -mm if match["sign"] in ("-", "−") else mm


def parse_positive_length(text: str, name: str, most_mm: float = 20_000.0) -> float:
    """A length that must be above zero and at most `most_mm`. [mm]

    Raises
    ------
    LengthError
        If it is not a length, not above zero, or beyond `most_mm`.
    """
    mm = parse_length(text, name)
    if not math.isfinite(mm) or mm <= 0:
        raise LengthError(f"{name}: {quoted(text)} must be more than zero; write it like {_EXAMPLES}.")
    if mm > most_mm:
        raise LengthError(f"{name}: {quoted(text)} is {mm:g} mm, more than the {most_mm:g} mm allowed; check the unit.")
    return mm


def show_length(mm: float, units: str = "mm", digits: int | None = None) -> str:
    """A length for people: "45.0 mm" or "1.772 in".

    Parameters
    ----------
    mm : float
        [mm]
    units : {"mm", "in"}
        The user's unit.
    digits : int, optional
        Decimals in millimetres (default 1); inches get two more.
    """
    places = 1 if digits is None else digits
    if units == "in":
        return f"{mm / MM_PER_INCH:.{places + 2}f} in"
    return f"{mm:.{places}f} mm"


def show_fraction(mm: float, denominator: int = 32) -> str:
    """Inches as a workshop fraction, rounded to 1/`denominator`: '1-3/4 in'."""
    parts = round(abs(mm) / MM_PER_INCH * denominator)
    whole, rest = divmod(parts, denominator)
    sign = "-" if mm < 0 and parts else ""
    if rest == 0:
        return f"{sign}{whole} in"
    fraction = Fraction(rest, denominator)
    lead = f"{whole}-" if whole else ""
    return f"{sign}{lead}{fraction.numerator}/{fraction.denominator} in"


# Bounded, so that no sentence takes long: a row of figures is sought from each of its figures anew.
_MILLIMETRES = re.compile(r"(?<![\w.,/-])(?P<figures>\d{1,15}(?:\.\d{1,15})?"
                          r"(?:(?: x | to | and | or |, )\d{1,15}(?:\.\d{1,15})?){0,12}) mm(?![\w/²])")
_PLACE = re.compile(r"\bx (-?\d{1,15}(?:\.\d{1,15})?), y (-?\d{1,15}(?:\.\d{1,15})?)( mm)?(?![\w.])")
_FIGURE = re.compile(r"\d+(?:\.(\d+))?")
# US fluid ounce: 1/128 of a gallon of 231 cubic inches (NIST Handbook 44, appendix C; from memory). [ml]
ML_PER_FLUID_OUNCE = 231.0 / 128.0 * 2.54**3
_MILLILITRES = re.compile(r"(?<![\w.,/-])(?P<figures>\d{1,15}(?:\.\d{1,15})?"
                          r"(?:(?: to )\d{1,15}(?:\.\d{1,15})?){0,12}) ml(?!\w)")


def in_words_for(text: str, units: str) -> str:
    """A sentence made in millimetres, for people who read `units`: "5.4 mm wide" becomes "0.213 in wide".

    Every figure keeps its precision (two decimals more in inches). Millilitres
    stand first, with US fluid ounces after them, because cups have either; other
    units in the sentence are left alone.
    """
    if units != "in":
        return text

    def inches(match: re.Match[str]) -> str:
        def one(figure: re.Match[str]) -> str:
            return f"{float(figure[0]) / MM_PER_INCH:.{len(figure[1] or '') + 2}f}"

        return f"{_FIGURE.sub(one, match['figures'])} in"

    def place(match: re.Match[str]) -> str:
        return f"x {float(match[1]) / MM_PER_INCH:.2f}, y {float(match[2]) / MM_PER_INCH:.2f} in"

    text = _PLACE.sub(place, text)

    def with_ounces(match: re.Match[str]) -> str:
        def one(figure: re.Match[str]) -> str:
            return f"{float(figure[0]) / ML_PER_FLUID_OUNCE:.{len(figure[1] or '') + 1}f}"

        return f"{match[0]} ({_FIGURE.sub(one, match['figures'])} fl oz)"

    return _MILLILITRES.sub(with_ounces, _MILLIMETRES.sub(inches, text))
