"""The shop: bits, fit, bed, stock, resin and wood; what `shop.toml` may hold.

Every field has a default, so no shop file is needed; the defaults that were
used are printed. Reading and validating a file is `shop_from_toml`.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from crackmap.settings import Settings


@dataclass(frozen=True, slots=True)
class Bit(Settings):
    """The router bit that cuts pockets and keys."""

    diameter: float = 6.35  # 1/4 in shank bit, the commonest on small machines [mm]
    cutting_length: float = 25.4  # flute length [mm]
    # What callipers or a test groove say. `diameter` stays what the CAM program is
    # told; the drawing makes up for the difference.
    measured: float | None = None  # [mm]

    @property
    def cutting_diameter(self) -> float:
        """The measured diameter where known, else the nominal one. [mm]"""
        return self.measured if self.measured is not None else self.diameter

    @property
    def undersize(self) -> float:
        """How much more wood than drawn the bit leaves on each side of its path; negative if oversize. [mm]"""
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
    clearance: float = 0.1  # a side [mm]
    # Part of the clearance taken by making the pocket larger than nominal; the
    # rest makes the key smaller. 0: a pocket that stays on its drawn size can be
    # cut again with the next key.
    pocket_share: float = 0.0  # 0 to 1 [-]
    proud: float = 1.0  # how far the key stands above the slab before it is planed off [mm]


@dataclass(frozen=True, slots=True)
class Bed(Settings):
    """The machine's working area. Open sides are those past which a slab may hang."""

    x: float = 600.0  # [mm]
    y: float = 400.0  # [mm]
    open_sides: tuple[str, ...] = ()  # of "left", "right", "front", "back"


@dataclass(frozen=True, slots=True)
class StockBoard(Settings):
    """A board on the shelf that keys may be cut from; its grain runs along `length`."""

    length: float = 600.0  # [mm]
    width: float = 120.0  # [mm]
    thickness: float = 25.0  # [mm]
    wood: str = ""
    offcut: bool = False


@dataclass(frozen=True, slots=True)
class ResinSheet(Settings):
    """The data sheet on the tin. The defaults are generic and cautious (common practice, no source)."""

    ratio: tuple[float, float] = (2.0, 1.0)  # resin to hardener
    ratio_by: str = "volume"  # "volume" or "weight"
    density_resin: float = 1.10  # [g/ml]
    density_hardener: float = 0.97  # [g/ml]
    largest_batch: float = 1000.0  # [ml]
    deepest_layer: float = 10.0  # [mm]
    allowance_percent: float = 15.0  # soak-in, cup and spill
    from_user: bool = False  # True when the shop file gave them


@dataclass(frozen=True, slots=True)
class SlabWood(Settings):
    """The slab's wood and the room it will live in."""

    species: str = ""  # empty: unknown
    moisture_percent: float | None = None
    room_humidity_percent: float | None = None
    room_temperature_c: float = 20.0


@dataclass(frozen=True, slots=True)
class KeyChoice(Settings):
    """Proportions and limits of the keys; None leaves the choice to `keys/`."""

    shape: str = "two-lobe"
    key_wood: str = ""
    depth_fraction: float = 0.45  # of the slab's thickness; a third to a half is common practice, no source
    depth: float | None = None  # fixed depth [mm]
    least_length: float | None = None  # of a key; None: 40 [mm]
    greatest_length: float | None = None  # None: 160 [mm]
    sizes: int = 4  # in a family, 3 to 5: few settings to cut, and the row looks meant
    length_per_thickness: float = 2.3  # largest length over the slab's thickness [-]
    lengths: tuple[float, ...] = ()  # the family's lengths where the maker lists them [mm]
    width_ratio: float | None = None  # head over length; None: the shape's own [-]
    waist_ratio: float | None = None  # waist over length; None: the shape's own [-]
    least_reach: float = 18.0  # of a wing past the crack's lip, whatever the width [mm]
    reach_per_width: float = 2.5  # and so much more for each mm of crack width [-]
    # Wood left under a pocket; less may break out when the key is driven in. [mm]
    least_floor: float = 8.0


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
    units: str = "mm"
    source: str = ""  # where it was read from; empty: built-in defaults
