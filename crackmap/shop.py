"""The shop: bits, fit, bed, stock, resin and wood; what `shop.toml` may hold.

Every field has a default, so no shop file is needed; the defaults that were
used are printed. Each field says beside itself what kind of value it takes and
between which limits, and `shop_from_toml` reads a file by that alone. Lengths in
a file are numbers in millimetres, or texts such as "1/4in".
"""

from __future__ import annotations

import dataclasses
import tomllib
from dataclasses import dataclass, field
from typing import Any, TypeVar

from crackmap.errors import LengthError, SettingsError, quoted
from crackmap.settings import Settings, nearest_hint
from crackmap.units import parse_length

SHAPE_CORNERS = ("round", "chisel", "corner-relief", "end-relief")

# Gaps a side. Common practice, no source: 0.076 and 0.1 mm are quoted for inlays and
# keys (thin evidence), 0.09 and 0.2 mm a side for close and free bolt holes; machines,
# bits and woods differ by more than that, so cut the test ladder first. [mm]
FITS = {"tap": 0.05, "slip": 0.10, "glue": 0.20}


def _length(default: float | None, least: float, most: float) -> Any:
    return field(default=default, metadata={"kind": "length", "least": least, "most": most})


def _number(default: float | None, least: float, most: float, kind: str = "number") -> Any:
    return field(default=default, metadata={"kind": kind, "least": least, "most": most})


_BOX = {"kind": "boxes", "least": 0.0, "most": 20_000.0}


def _text(default: str, choices: tuple[str, ...] = ()) -> Any:
    return field(default=default, metadata={"kind": "text", "choices": choices})


@dataclass(frozen=True, slots=True)
class Bit(Settings):
    """The router bit that cuts pockets and keys."""

    diameter: float = _length(6.35, 0.5, 50.0)  # 1/4 in, the commonest on small machines [mm]
    cutting_length: float = _length(25.4, 1.0, 150.0)  # flute length [mm]
    # What callipers or a test groove say. `diameter` stays what the CAM program is
    # told; the drawing makes up for the difference.
    measured: float | None = _length(None, 0.5, 50.0)  # [mm]

    @property
    def cutting_diameter(self) -> float:
        """The measured diameter where known, else the nominal one. [mm]"""
        return self.measured if self.measured is not None else self.diameter

    @property
    def undersize(self) -> float:
        """Wood that the bit leaves standing on each side of its path; negative if it is oversize. [mm]"""
        return (self.diameter - self.cutting_diameter) / 2.0

    @property
    def corner_radius(self) -> float:
        """Radius given to inside corners. [mm]

        A tenth more than the larger of the two radii: the bit then sweeps round
        the corner instead of stopping in it, which burns and chatters (common
        practice, no source), and the CAM program finds a path.
        """
        return 1.1 * max(self.diameter, self.cutting_diameter) / 2.0


@dataclass(frozen=True, slots=True)
class Fit(Settings):
    """The gap between pocket and key."""

    # A machine-cut pair of equal size does not go together; 0.08 to 0.1 mm a
    # side is quoted (thin evidence, common practice, no source): test cut first.
    clearance: float = _length(FITS["slip"], 0.0, 2.0)  # a side [mm]
    # Part of the clearance taken by making the pocket larger than nominal; the
    # rest makes the key smaller. 0: a pocket that stays on its drawn size can be
    # cut again with the next key.
    pocket_share: float = _number(0.0, 0.0, 1.0)  # [-]
    # How far the key stands above the slab before it is planed off. [mm]
    proud: float = _length(1.0, 0.0, 10.0)
    kind: str = _text("", tuple(FITS))  # a preset of FITS in place of a figure
    # True when a test cut gave the clearance
    from_test: bool = field(default=False, metadata={"kind": "none"})


@dataclass(frozen=True, slots=True)
class TestedFit(Settings):
    """Which step of the ladder fitted, for one bit and one wood."""

    __test__ = False  # the name is ours; pytest is not to collect it

    bit_diameter: float = _length(6.35, 0.5, 50.0)  # [mm]
    clearance: float = _length(0.1, 0.0, 2.0)  # a side [mm]
    wood: str = _text("")  # of the key; empty: any


@dataclass(frozen=True, slots=True)
class Bed(Settings):
    """The machine's working area. Open sides are those past which a slab may hang."""

    x: float = _length(600.0, 50.0, 10_000.0)  # [mm]
    y: float = _length(400.0, 50.0, 10_000.0)  # [mm]
    open_sides: tuple[str, ...] = field(
        default=(), metadata={"kind": "texts", "choices": ("left", "right", "front", "back")})
    # How far the table goes on past the working area at the sides that are not open. [mm]
    table_beyond: float = _length(0.0, 0.0, 2_000.0)
    # Where clamps stand, each [x, y, length, width] from the working area's corner; no pocket is cut there. [mm]
    clamps: tuple[tuple[float, ...], ...] = field(default=(), metadata=_BOX)


@dataclass(frozen=True, slots=True)
class Machine(Settings):
    """How the router runs, for the estimate of its time; None: common practice for small machines, as a range."""

    feed: float | None = _number(None, 50.0, 30_000.0)  # sideways in the wood [mm/min]
    plunge: float | None = _number(None, 10.0, 10_000.0)  # straight down in the wood [mm/min]
    pass_depth: float | None = _length(None, 0.2, 50.0)  # of one pass; None: half the bit's diameter [mm]
    stepover: float | None = _number(None, 0.05, 1.0)  # between neighbouring paths, share of the diameter [-]
    rapid: float = _number(2500.0, 100.0, 60_000.0)  # above the wood; a small belt-driven machine (a choice) [mm/min]
    acceleration: float | None = _number(None, 20.0, 20_000.0)  # at corners [mm/s2]
    safe_height: float = _length(5.0, 1.0, 100.0)  # at which the bit travels, above the wood [mm]
    # True where the CAM program lifts the bit out before every pass down.
    retract_each_pass: bool | None = field(default=None, metadata={"kind": "flag"})


@dataclass(frozen=True, slots=True)
class StockBoard(Settings):
    """A board on the shelf that keys may be cut from; its grain runs along `length`."""

    length: float = _length(600.0, 20.0, 10_000.0)  # [mm]
    width: float = _length(120.0, 10.0, 3_000.0)  # [mm]
    thickness: float = _length(25.0, 1.0, 300.0)  # [mm]
    wood: str = _text("")
    offcut: bool = field(default=False, metadata={"kind": "flag"})
    # Where clamps, knots or defects are, each [x, y, length, width] from the board's lower left corner. [mm]
    keep_free: tuple[tuple[float, ...], ...] = field(default=(), metadata=_BOX)


@dataclass(frozen=True, slots=True)
class ResinSheet(Settings):
    """The data sheet on the tin. The defaults are generic and cautious (common practice, no source)."""

    # Resin to hardener.
    ratio: tuple[float, float] = field(
        default=(2.0, 1.0), metadata={"kind": "ratio", "least": 0.01, "most": 1000.0})
    ratio_by: str = _text("volume", ("volume", "weight"))
    density_resin: float = _number(1.10, 0.5, 3.0)  # [g/ml]
    density_hardener: float = _number(0.97, 0.5, 3.0)  # [g/ml]
    largest_batch: float = _number(1000.0, 1.0, 200_000.0)  # [ml]
    deepest_layer: float = _length(10.0, 0.5, 300.0)  # [mm]
    allowance_percent: float = _number(15.0, 0.0, 100.0)  # soak-in, cup and spill
    # Thin first coat on porous walls; 0: none. Generic (common practice, no source). [g/m2]
    seal_coat: float = _number(150.0, 0.0, 2000.0)
    price_per_litre: float | None = _number(None, 0.0, 100_000.0)  # of mixed resin, in `currency`
    currency: str = _text("")  # as it is to be shown: "EUR", "$"
    from_user: bool = field(default=False, metadata={"kind": "none"})  # True when the shop file gave them


@dataclass(frozen=True, slots=True)
class SlabWood(Settings):
    """The slab's wood and the room it will live in."""

    species: str = _text("")  # empty: unknown
    moisture_percent: float | None = _number(None, 0.0, 30.0)
    room_humidity_percent: float | None = _number(None, 0.0, 95.0)
    room_temperature_c: float = _number(20.0, -1.0, 49.0)


@dataclass(frozen=True, slots=True)
class KeyChoice(Settings):
    """Proportions and limits of the keys; None leaves the choice to `keys/`."""

    shape: str = _text("two-lobe")
    # Of a straight bow tie's head; other shapes have none to square.
    corners: str = _text("round", SHAPE_CORNERS)
    key_wood: str = _text("")
    # Of the thickness; a third to a half is common practice, no source. [-]
    depth_fraction: float = _number(0.45, 0.05, 1.0)
    depth: float | None = _length(None, 0.5, 300.0)  # fixed depth [mm]
    least_length: float | None = _length(None, 10.0, 500.0)  # of a key; None: 40 [mm]
    greatest_length: float | None = _length(None, 10.0, 500.0)  # None: 160 [mm]
    sizes: int = _number(4, 1, 5, "whole")  # in a family: few settings to cut, and the row looks meant
    length_per_thickness: float = _number(2.3, 0.5, 10.0)  # largest length over the slab's thickness [-]
    # The family's lengths where the maker lists them. [mm]
    lengths: tuple[float, ...] = field(default=(), metadata={"kind": "lengths", "least": 10.0, "most": 500.0})
    width_ratio: float | None = _number(None, 0.1, 0.62)  # head over length; None: the shape's own [-]
    waist_ratio: float | None = _number(None, 0.05, 0.6)  # waist over length; None: the shape's own [-]
    least_reach: float = _length(18.0, 0.0, 200.0)  # of a wing past the crack's lip, whatever the width [mm]
    reach_per_width: float = _number(2.5, 0.0, 20.0)  # and so much more for each mm of crack width [-]
    # Wood left under a pocket; less may break out when the key is driven in. [mm]
    least_floor: float = _length(8.0, 0.0, 200.0)


@dataclass(frozen=True, slots=True)
class Shop(Settings):
    """All of the shop file."""

    bit: Bit = field(default_factory=Bit)
    fit: Fit = field(default_factory=Fit)
    bed: Bed | None = None
    stock: tuple[StockBoard, ...] = ()
    resin: ResinSheet = field(default_factory=ResinSheet)
    wood: SlabWood = field(default_factory=SlabWood)
    keys: KeyChoice = field(default_factory=KeyChoice)
    machine: Machine = field(default_factory=Machine)
    units: str = "mm"
    source: str = ""  # where it was read from; empty: built-in defaults
    tested: tuple[TestedFit, ...] = ()  # fits found by test cuts

    @property
    def tested_fit(self) -> TestedFit | None:
        """The newest test cut made with this bit in this key wood, or in any wood where none is named."""
        for wood in dict.fromkeys((_plain(self.keys.key_wood), "")):
            for tested in reversed(self.tested):
                if abs(tested.bit_diameter - self.bit.diameter) < 0.005 and _plain(tested.wood) == wood:
                    return tested
        return None


_Section = TypeVar("_Section", bound=Settings)
_SECTIONS: dict[str, type[Settings]] = {"bit": Bit, "fit": Fit, "bed": Bed, "resin": ResinSheet,
                                        "wood": SlabWood, "keys": KeyChoice, "machine": Machine}
_LISTS: dict[str, type[Settings]] = {"stock": StockBoard, "tested": TestedFit}


def shop_from_toml(text: str, source: str) -> Shop:
    """The shop that a shop file describes; what it leaves out keeps its default.

    Parameters
    ----------
    text : str
        The file's text, TOML.
    source : str
        Where it came from; begins every error message.

    Raises
    ------
    SettingsError
        Not TOML, an unknown name (names the nearest known one), or a value of
        the wrong type or out of range (names the field and the limits).
    """
    try:
        given = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise SettingsError(f"{source} is not a readable shop file: {error}.") from error
    except RecursionError as error:
        raise SettingsError(f"{source} is not a readable shop file: it is nested too deep.") from error
    except ValueError as error:
        raise SettingsError(f"{source} is not a readable shop file: a number in it has thousands of digits.") from error
    known = [*_SECTIONS, *_LISTS, "units"]
    values: dict[str, Any] = {"source": source}
    for name, value in given.items():
        if name not in known:
            raise SettingsError(f"{source}: unknown name {quoted(name)}{nearest_hint(name, known)}")
        if name == "units":
            values[name] = _one_of(value, ("mm", "in"), f"{source}: units")
        elif name in _SECTIONS:
            values[name] = _section(_SECTIONS[name], value, f"{source}: [{name}]")
        else:
            values[name] = _sections(_LISTS[name], value, f"{source}: [[{name}]]")
    shop = Shop(**values)
    _demand_agreement(shop, given, source)
    return dataclasses.replace(shop, fit=_settled_fit(shop, given.get("fit", {})),
                               resin=dataclasses.replace(shop.resin, from_user="resin" in given))


def _settled_fit(shop: Shop, given: dict[str, Any]) -> Fit:
    """The clearance that counts: a test cut with this bit and wood, then a figure, then a preset."""
    tested = shop.tested_fit
    if tested is not None:
        return dataclasses.replace(shop.fit, clearance=tested.clearance, from_test=True)
    if shop.fit.kind and "clearance" not in given:
        return dataclasses.replace(shop.fit, clearance=FITS[shop.fit.kind])
    return shop.fit


def _demand_agreement(shop: Shop, given: dict[str, Any], source: str) -> None:
    """Values that are right alone but not together."""
    if "clearance" in given.get("fit", {}) and shop.fit.kind:
        raise SettingsError(f"{source}: [fit] gives both kind and clearance; leave one of them out.")
    least, most = shop.keys.least_length, shop.keys.greatest_length
    if least is not None and most is not None and least > most:
        raise SettingsError(f"{source}: [keys] least_length ({least:g} mm) is more than greatest_length "
                            f"({most:g} mm).")
    if shop.bit.measured is not None and abs(shop.bit.measured - shop.bit.diameter) > 0.1 * shop.bit.diameter:
        raise SettingsError(f"{source}: [bit] measured ({shop.bit.measured:g} mm) differs from diameter "
                            f"({shop.bit.diameter:g} mm) by more than a tenth; one of them is wrong.")


def _sections(section: type[_Section], value: Any, where: str) -> tuple[_Section, ...]:
    if not isinstance(value, list):
        raise SettingsError(f"{where} must be a list of tables, each headed by double square brackets.")
    return tuple(_section(section, each, f"{where} {number}") for number, each in enumerate(value, 1))


def _section(section: type[_Section], value: Any, where: str) -> _Section:
    if not isinstance(value, dict):
        raise SettingsError(f"{where} must be a table of named values, not {quoted(value)}.")
    kinds = {f.name: f.metadata for f in dataclasses.fields(section) if f.metadata["kind"] != "none"}
    for name in value:
        if name not in kinds:
            raise SettingsError(f"{where} unknown name {quoted(name)}{nearest_hint(name, list(kinds))}")
    return section(**{name: _value(each, kinds[name], f"{where} {name}") for name, each in value.items()})


def _value(value: Any, kind: Any, where: str) -> Any:
    """One value of the kind and within the limits that its field states."""
    match kind["kind"]:
        case "length":
            return _within(_length_of(value, where), kind, where, " mm")
        case "lengths":
            given = _list_of(value, where)
            return tuple(_within(_length_of(each, where), kind, where, " mm") for each in given)
        case "boxes":
            return tuple(_box_of(each, kind, f"{where}[{n}]") for n, each in enumerate(_list_of(value, where)))
        case "number":
            return _within(_number_of(value, where), kind, where)
        case "whole":
            if not isinstance(value, int) or isinstance(value, bool):
                raise SettingsError(f"{where} must be a whole number, not {quoted(value)}.")
            return int(_within(_as_float(value), kind, where))
        case "ratio":
            return _ratio_of(value, kind, where)
        case "flag":
            if not isinstance(value, bool):
                raise SettingsError(f"{where} must be true or false, not {quoted(value)}.")
            return value
        case "texts":
            return tuple(_one_of(each, kind["choices"], where) for each in _list_of(value, where))
        case _:
            return _one_of(value, kind["choices"], where)


def _number_of(value: Any, where: str) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise SettingsError(f"{where} must be a number, not {quoted(value)}.")
    return _as_float(value)


def _length_of(value: Any, where: str) -> float:
    if isinstance(value, str):
        try:
            return parse_length(value, where)
        except LengthError as error:
            raise SettingsError(str(error)) from error
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise SettingsError(f'{where} must be a length, in mm or as a text like "1/4in", not {quoted(value)}.')
    return _as_float(value)


def _as_float(value: float) -> float:
    """As a float, infinite where an integer is too large for one: `_within` refuses both."""
    try:
        return float(value)
    except OverflowError:
        return float("inf")


def _within(value: float, kind: Any, where: str, unit: str = "") -> float:
    if not kind["least"] <= value <= kind["most"]:  # catches nan as well
        hint = '; lengths are in mm, write inches as "1/4in"' if unit else ""
        raise SettingsError(f"{where} is {value:g}{unit}, outside {kind['least']:g} to "
                            f"{kind['most']:g}{unit}{hint}.")
    return value


def _ratio_of(value: Any, kind: Any, where: str) -> tuple[float, float]:
    parts = value.split(":") if isinstance(value, str) else value
    if not isinstance(parts, list) or len(parts) != 2:
        raise SettingsError(f'{where} must be two numbers, as [2, 1] or "2:1", not {quoted(value)}.')
    try:
        first, second = (float(part) if isinstance(value, str) else _number_of(part, where) for part in parts)
    except ValueError as error:
        raise SettingsError(f'{where} must be two numbers, as [2, 1] or "2:1", not {quoted(value)}.') from error
    return _within(first, kind, where), _within(second, kind, where)


def _box_of(value: Any, kind: Any, where: str) -> tuple[float, ...]:
    if not isinstance(value, list) or len(value) != 4:
        raise SettingsError(f"{where} must be four lengths, [x, y, length, width], not {quoted(value)}.")
    return tuple(_within(_length_of(each, where), kind, where, " mm") for each in value)


def _list_of(value: Any, where: str) -> list[Any]:
    if not isinstance(value, list):
        raise SettingsError(f"{where} must be a list in square brackets, not {quoted(value)}.")
    return value


def _one_of(value: Any, choices: tuple[str, ...], where: str) -> str:
    if not isinstance(value, str):
        raise SettingsError(f"{where} must be a text in quotes, not {quoted(value)}.")
    if choices and value not in choices:
        raise SettingsError(f"{where}: unknown value {quoted(value)}{nearest_hint(value, list(choices))}")
    return value


def _plain(wood: str) -> str:
    return " ".join(wood.lower().replace("_", " ").replace("-", " ").split())
