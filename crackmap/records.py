"""What the stages hand over: frozen records whose arrays are read-only.

Terminology
-----------
Photo           the file's pixels, upright, sRGB, 8 bits a channel.
RectifiedPhoto  the same view resampled so that one pixel is the same number of
                millimetres everywhere on the show face.
Survey          what was measured: outline, voids, cracks, grain; all in mm.
Placement       the keys and, for each crack without one, why.
Plan            placement, resin and warnings: what the drawings are made from.

Frames
------
Pixels: ``(x, y)`` = (column, row), pixel centres at whole numbers, y down.
Slab: millimetres, x right, y up (away from the photographer), z up with z = 0
on the show face; origin at datum mark A, x axis through datum mark B.
Angles are degrees, anticlockwise from x.

Symbols for array shapes: H, W rows and columns; N points.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from crackmap.scale.mapping import Mapping
from crackmap.shop import StockBoard

FloatArray = NDArray[np.float64]
ImageArray = NDArray[np.uint8]


def frozen_array(values: ArrayLike, columns: int | None = None) -> FloatArray:
    """A read-only float copy of `values`; with `columns`, reshaped to (N, columns)."""
    array = np.array(values, dtype=float)
    if columns is not None:
        array = array.reshape(-1, columns)
    array.setflags(write=False)
    return array


def freeze(array: NDArray[Any]) -> NDArray[Any]:
    """Make `array` read-only in place and return it (for large images: no copy). Any shape."""
    array.setflags(write=False)
    return array


@dataclass(frozen=True, slots=True)
class PhotoFacts:
    """Where a photo came from; travels to the end of the line."""

    file: str
    sha256: str
    width_px: int
    height_px: int
    focal_35mm: float | None = None  # 35 mm equivalent focal length from EXIF [mm]
    orientation: int = 1  # the EXIF value that was undone on reading; a lens file is for the picture as stored


@dataclass(frozen=True, slots=True)
class Photo:
    """A photograph, upright, in sRGB."""

    pixels: ImageArray  # (H, W, 3) uint8 RGB, read-only
    facts: PhotoFacts
    notes: tuple[str, ...] = ()  # what was done on reading, worth telling the user


@dataclass(frozen=True, slots=True)
class Reference:
    """A thing of known size in view: a marker, sheet or card.

    `corners_mm` are its four corners in the slab frame, on the show face's
    plane as the camera sees them, so the survey can mask it out; `height_mm`
    is how far it lies above the show face.
    """

    kind: str  # "marker", "a4", "a3", "letter", "card", "rule"
    id: int | None
    corners_mm: FloatArray  # (4, 2) [mm]
    size_mm: tuple[float, float]
    height_mm: float = 0.0
    used: bool = True
    why_not_used: str = ""


@dataclass(frozen=True, slots=True)
class Datum:
    """The two marks that fix the slab frame; A is the origin, B lies on +x."""

    a: FloatArray  # (2,) [mm]
    b: FloatArray  # (2,) [mm]
    kind: str  # "markers", "marker", "sheet", "slab corners"
    a_name: str = "A"  # how a maker finds it: "centre of marker 3"
    b_name: str = "B"


@dataclass(frozen=True, slots=True)
class ScaleQuality:
    """How sure the millimetres are (one sigma unless said otherwise)."""

    mm_per_px: float  # at the middle of the slab or photo
    scale_sigma_percent: float
    sigma_at_datum_mm: float
    sigma_worst_mm: float
    narrowest_crack_mm: float  # narrowest crack that the photo can show
    reprojection_px: float  # rms of the fit
    # Position sigma on a coarse grid over the view, for pictures and key-by-key
    # figures: rows of (x, y, sigma). [mm]
    sigma_field: FloatArray = field(default_factory=lambda: frozen_array([], 3))
    notes: tuple[str, ...] = ()  # "lens unknown: ...", "one marker only: ..."
    # Errors of the field's points for one-sigma steps along K independent
    # directions, shape (G, 2, K): what the budget over the slab is made from.
    # Kept while a run lasts, not written to files. [mm]
    sigma_modes: FloatArray = field(default_factory=lambda: frozen_array([]).reshape(0, 2, 0))

    def sigma_at(self, points_mm: ArrayLike) -> FloatArray:
        """Position sigma at slab points (N, 2), from the field by inverse squared distance; (N,). [mm]

        The worst figure where no field is known.
        """
        points = np.asarray(points_mm, float).reshape(-1, 2)
        if not len(self.sigma_field):
            return np.full(len(points), self.sigma_worst_mm)
        gaps = np.hypot(*(points[:, None, :] - self.sigma_field[None, :, :2]).transpose(2, 0, 1))
        # The field is smooth and its grid coarse: the four nearest points speak for a place.
        nearest = np.argsort(gaps, axis=1)[:, :4]
        weights = 1.0 / (np.take_along_axis(gaps, nearest, 1) + 1e-6) ** 2
        return np.asarray((weights * self.sigma_field[nearest, 2]).sum(axis=1) / weights.sum(axis=1))


@dataclass(frozen=True, slots=True)
class RectifiedPhoto:
    """The view resampled to square millimetres, with the way back to the photo."""

    pixels: ImageArray  # (H, W, 3) uint8 RGB, read-only
    seen: NDArray[np.bool_]  # (H, W) True where the photo covers this pixel
    mapping: Mapping  # slab mm <-> pixels of `pixels`
    photo_mapping: Mapping  # slab mm <-> pixels of the photo file
    photo: PhotoFacts
    datum: Datum
    references: tuple[Reference, ...]
    scale: ScaleQuality
    advice: tuple[str, ...] = ()  # about the photo: too tilted, blurred, dark ...


@dataclass(frozen=True, slots=True)
class Void:
    """An opening in the show face: knot hole, bark pocket, rot."""

    id: str
    polygon: FloatArray  # (N, 2), not closed [mm]


@dataclass(frozen=True, slots=True)
class Crack:
    """One unbranched crack; branches share an end point.

    `ends` names the first and last point: "edge", "tip", "void", "junction" or
    "border" (cut by the picture's border).
    """

    id: str
    centreline: FloatArray  # (N, 2) [mm]
    width: FloatArray  # (N,) perpendicular to the centreline [mm]
    ends: tuple[str, str]
    confidence: float
    width_sigma: FloatArray = field(default_factory=lambda: frozen_array([]))  # (N,) or empty [mm]
    drawn_by_user: bool = False

    @property
    def length(self) -> float:
        """Length along the centreline. [mm]"""
        return float(np.hypot(*np.diff(self.centreline, axis=0).T).sum())

    @property
    def widest(self) -> float:
        """Greatest width. [mm]"""
        return float(self.width.max())


@dataclass(frozen=True, slots=True)
class Survey:
    """What was measured on the show face, in the slab frame, in mm."""

    photo: PhotoFacts
    mapping: Mapping  # slab mm <-> photo file pixels
    scale: ScaleQuality
    datum: Datum
    references: tuple[Reference, ...]
    outline: FloatArray  # (N, 2), anticlockwise, not closed [mm]
    voids: tuple[Void, ...]
    cracks: tuple[Crack, ...]
    grain_deg: float  # direction of the grain, (-90, 90] from x
    warnings: tuple[str, ...] = ()
    # What the user's word took the place of, as found: kept, so that it can be
    # had back without measuring again.
    set_aside: tuple[Crack, ...] = ()  # cracks refused, or with an end moved
    found_outline: FloatArray | None = None  # (N, 2), or empty if never measured; None: `outline` is the found one [mm]
    other_face: OtherFace | None = None  # the underside, where it was photographed as well


@dataclass(frozen=True, slots=True)
class Check:
    """One rule applied to one key."""

    name: str
    ok: bool
    value: float | str
    limit: float | str
    unit: str = "mm"
    note: str = ""


@dataclass(frozen=True, slots=True)
class KeyShape:
    """A key and its pocket in the key's own frame, before it is placed.

    x along the key's length (and grain), origin at the middle of the waist.
    Outlines are closed polylines of rows ``(x, y, bulge)``, anticlockwise;
    `bulge` is DXF's: tangent of a quarter of the arc's angle to the next point.
    """

    shape: str  # name in keys.SHAPES
    length: float  # nominal, of the pocket [mm]
    width: float  # of the head [mm]
    waist: float  # [mm]
    corner_radius: float  # smallest inside radius that the bit must cut [mm]
    clearance: float  # gap a side between pocket and key [mm]
    depth: float  # of the pocket [mm]
    thickness: float  # of the key: depth plus what stands proud [mm]
    pocket: FloatArray  # (N, 3)
    key: FloatArray  # (N, 3)
    # How the head's corners are made: "round", or square on the key and in the
    # pocket "chisel" (by hand), "corner-relief" or "end-relief" (cut past them).
    corners: str = "round"


@dataclass(frozen=True, slots=True)
class Key:
    """A placed key. `angle_deg` is the direction of its length and grain."""

    id: str
    cracks: tuple[str, ...]
    centre: FloatArray  # (2,) [mm]
    angle_deg: float
    shape: KeyShape
    size_name: str  # "large", "medium", ... within the family used
    pocket: FloatArray  # (N, 3) in the slab frame
    key: FloatArray  # (N, 3) in the slab frame
    origin: str  # "suggested", "added", "fixed"
    reasons: tuple[str, ...] = ()
    checks: tuple[Check, ...] = ()


@dataclass(frozen=True, slots=True)
class Unheld:
    """A crack without a key, and why."""

    crack: str
    why: str


@dataclass(frozen=True, slots=True)
class CountOption:
    """What a crack would be like with so many keys, all others staying where they are."""

    keys: int
    objective: float  # change of the plan's objective against the plan as it is [keys]
    longest_unheld: float  # stretch of this crack [mm]
    # How many times the pull it bears before it runs on, against no key at all;
    # None where the wood is not known or no tip is there to relieve. [-]
    relief: float | None = None


@dataclass(frozen=True, slots=True)
class CountOptions:
    """One crack, or several that are one to the eye: as planned, one key fewer and one more."""

    cracks: tuple[str, ...]
    planned: int  # keys across it in the plan
    options: tuple[CountOption, ...]  # in order of their counts; those that fit


@dataclass(frozen=True, slots=True)
class Placement:
    """What the placement stage returns."""

    keys: tuple[Key, ...]
    unheld: tuple[Unheld, ...]
    warnings: tuple[str, ...] = ()
    basis: tuple[str, ...] = ()  # what the holding figures rest on; empty where none was reckoned
    objective: float = 0.0  # lower is better; what it counts is written in PlacementSettings [keys]
    counts: tuple[CountOptions, ...] = ()  # what one key fewer or more would do, crack by crack


@dataclass(frozen=True, slots=True)
class OfferedPlan:
    """One of the plans to choose from."""

    name: str  # "fewest", "balanced", "strongest"
    description: str  # one line
    placement: Placement
    objective: float  # by the balanced weights, so that the plans compare [keys]
    longest_unheld: float  # of all cracks that ask for keys [mm]
    holding: str  # one sentence; empty where the wood is not known


@dataclass(frozen=True, slots=True)
class CommonPoint:
    """A point that the maker knows on both faces: a drilled hole, a sawn corner."""

    name: str
    show: FloatArray  # (2,) in the show face's frame [mm]
    under: FloatArray  # (2,) in the underside's own frame [mm]


@dataclass(frozen=True, slots=True, eq=False)
class Below:
    """What becomes of a crack or void of the show face on the underside.

    A crack has an entry for each of its N centreline points, a void one.
    """

    opening: str  # id on the show face
    state: NDArray[np.int8]  # (N,) THROUGH, BLIND or UNKNOWN
    width: FloatArray  # (N,) of the opening below; 0 where there is none seen [mm]
    area_mm2: float  # of the opening below [mm2]
    under: tuple[str, ...]  # ids in the underside's survey

    @property
    def word(self) -> str:
        """through, partly through, blind or unknown."""
        through = bool((self.state == THROUGH).any())
        if through:
            return "through" if bool((self.state == THROUGH).all()) else "partly through"
        return "blind" if bool((self.state == BLIND).all()) else "unknown"


THROUGH, BLIND, UNKNOWN = 1, 0, -1  # of Below.state


@dataclass(frozen=True, slots=True, eq=False)
class OtherFace:
    """The underside, brought together with the show face."""

    survey: Survey  # in the underside's own frame, seen from below
    under_to_show: FloatArray  # (3, 3) takes its millimetres (x, y, 1) to the show face's; a mirror
    method: str  # "points" or "outline"
    residual_mm: float  # rms over the common points, or of the outlines less the bevel
    openings_off_mm: float  # median way from openings below to those above; nan where there are none
    below: tuple[Below, ...]  # one for each crack and void of the show face
    only_below: tuple[str, ...] = ()  # ids of the underside's openings that none of the show face's explains
    notes: tuple[str, ...] = ()

    def to_show(self, points_mm: ArrayLike) -> FloatArray:
        """Underside points (N, 2) in the show face's frame. [mm]"""
        points = np.asarray(points_mm, float).reshape(-1, 2)
        return np.asarray(points @ self.under_to_show[:2, :2].T + self.under_to_show[:2, 2])


@dataclass(frozen=True, slots=True)
class Batch:
    """One cup: resin (a) and hardener (b)."""

    part_a_ml: float
    part_b_ml: float
    part_a_g: float
    part_b_g: float


@dataclass(frozen=True, slots=True)
class Pour:
    """One pour, in the order of work: the seal coat, then layers from the bottom up."""

    name: str  # "seal coat", "layer 1", ...
    volume_ml: float  # mixed, with its allowance
    deep_mm: float  # thickest that it stands anywhere; 0 for the seal coat
    batches: int  # of equal size
    batch: Batch


@dataclass(frozen=True, slots=True, eq=False)
class Dam:
    """Where resin would run out: to be taped or dammed before the pour."""

    name: str  # "D1"
    opening: str  # id of the crack or void
    where: str  # "below": on the underside; "end": on an end or edge of the slab
    sure: bool  # False: it may come out there, nobody has seen
    line: FloatArray  # (N, 2) of the opening, in the show face's frame; one point at an end [mm]
    width: float  # widest there [mm]
    margin: float  # of tape past it on every side [mm]


@dataclass(frozen=True, slots=True)
class ResinItem:
    """One crack or void to be filled."""

    id: str
    area_mm2: float
    depth_mm: float  # the depth reckoned with
    depth_from: str  # "assumed", "probed", "through"; "pocket" for the gaps round the keys
    volume_ml: float
    least_ml: float
    most_ml: float


@dataclass(frozen=True, slots=True)
class ResinEstimate:
    """Resin to mix, with its range, before and after the allowance."""

    items: tuple[ResinItem, ...]
    volume_ml: float  # net, best figure
    least_ml: float
    most_ml: float
    allowance_percent: float
    mix_ml: float  # best figure with allowance
    part_a_ml: float
    part_b_ml: float
    part_a_g: float
    part_b_g: float
    layers: int  # pours needed for the deepest item
    notes: tuple[str, ...] = ()
    pours: tuple[Pour, ...] = ()
    dams: tuple[Dam, ...] = ()
    resin_first: bool = False  # pour before the pockets are cut
    order: tuple[str, ...] = ()  # why keys or resin come first, and what to heed
    cost: float | None = None  # of what is mixed, seal coat included; None: no price in the shop file
    currency: str = ""


@dataclass(frozen=True, slots=True)
class LaidKey:
    """A key on a board: its waist's middle, in the board's frame (origin at the lower left corner)."""

    name: str  # of the key that it fits, or "spare large"
    like: str  # id of a key of the plan that has this shape
    shape: KeyShape
    centre: tuple[float, float]  # [mm]


@dataclass(frozen=True, slots=True)
class LaidBoard:
    """A board with the keys cut from it; grain along its length, x."""

    board: StockBoard
    number: int  # in the shop file, from 1; 0 for one that is only proposed
    hold: str  # what holds the keys while they are cut: "skin" or "tabs"
    keys: tuple[LaidKey, ...]


@dataclass(frozen=True, slots=True)
class StockLayout:
    """All boards used, and the keys for which there was none."""

    boards: tuple[LaidBoard, ...]
    left_over: tuple[tuple[str, str], ...] = ()  # name of the key and why


@dataclass(frozen=True, slots=True)
class SetupMark:
    """A point by which a slab is found on the machine's bed."""

    name: str  # "A", "B", "M17" for another marker's centre, "W1" for a witness point
    at: tuple[float, float]  # in the slab frame [mm]
    # How the point comes on the wood: "marker" (pricked through the marker's cross), "by hand" (set out by
    # straightedge and tape), or "drilled" (by the machine, in set-up `from_setup`).
    how: str
    from_setup: int = 0
    in_pocket: str = ""  # the key whose pocket takes the point away again; empty: it stays until sanded


@dataclass(frozen=True, slots=True, eq=False)
class Setup:
    """One clamping of the slab on the bed, and what is cut in it."""

    number: int  # from 1, in the order of work
    keys: tuple[str, ...]  # ids of the pockets cut
    matrix: FloatArray  # (3, 3) slab (x, y, 1) to machine (x, y, 1), rigid [mm]
    turn_deg: float  # of the slab frame on the bed, anticlockwise, (-180, 180]
    marks: tuple[SetupMark, ...]  # two or more in reach; the first two are the ones to go by
    to_drill: tuple[SetupMark, ...]  # witness points for later set-ups, drilled in this one
    overhang: tuple[float, float, float, float]  # slab past the bed's left, right, front and back; 0: none [mm]


@dataclass(frozen=True, slots=True)
class TimeItem:
    """Machine time of one kind of work. [min]"""

    name: str  # "pockets", "keys"
    count: int
    least: float
    likely: float
    most: float
    path_mm: float  # length of the bit's way in the wood [mm]
    plunges: int


@dataclass(frozen=True, slots=True)
class CuttingTime:
    """How long the machine is likely to run, tool changes and setting up left out."""

    items: tuple[TimeItem, ...]
    feed: tuple[float, float, float]  # slowest, likely, fastest [mm/min]
    plunge: tuple[float, float, float]  # [mm/min]
    pass_depth: float  # [mm]
    stepover: float  # share of the bit's diameter [-]
    notes: tuple[str, ...] = ()

    @property
    def likely(self) -> float:
        """All items together. [min]"""
        return sum(item.likely for item in self.items)


@dataclass(frozen=True, slots=True)
class Plan:
    """What will be cut and poured: the result of survey, shop and edits."""

    keys: tuple[Key, ...]
    unheld: tuple[Unheld, ...]
    resin: ResinEstimate
    thickness_mm: float
    setups: tuple[Setup, ...] = ()
    warnings: tuple[str, ...] = ()
    basis: tuple[str, ...] = ()  # what the holding figures rest on; empty where none was reckoned
    no_setup: tuple[tuple[str, str], ...] = ()  # key that the machine cannot reach, and why
    stock: StockLayout | None = None  # which key is cut from which board
    time: CuttingTime | None = None
    objective: float = 0.0  # of the placement; lower is better [keys]
    counts: tuple[CountOptions, ...] = ()  # what one key fewer or more would do, crack by crack
    choice: str = "balanced"  # which of the offered plans it goes by
    # What it was made from, to tell a plan that is out of date; empty: not known.
    photo_sha256: str = ""
    edits_digest: str = ""  # jsonform.digest_of the edits that it obeys
    shop_digests: tuple[tuple[str, str], ...] = ()  # of the shop file's sections, see agreement.shop_digests
    by_hand: bool = False  # read from a file that was changed after crackmap had written it


@dataclass(frozen=True, slots=True)
class AddedKey:
    """A key that the user put in; sizes left at None are chosen by the tool."""

    centre: FloatArray  # (2,) [mm]
    angle_deg: float | None = None  # None: square to the nearest crack
    size: str | None = None  # a size's name from the family
    length: float | None = None
    width: float | None = None
    waist: float | None = None
    depth: float | None = None
    shape: str | None = None
    fixed: bool = False  # True for the `fix` list: replaces the suggestion nearest to `centre`
    note: str = ""  # the user's own remark


@dataclass(frozen=True, slots=True)
class KeepOut:
    """An area where nothing is cut: a base plate, screws, a clamp."""

    area: FloatArray  # (N, 2) [mm]
    from_face: str = "above"  # "above" or "below"
    depth: float | None = None  # how far it reaches into the slab; None: all through [mm]
    note: str = ""
    # Screws of a base plate, (M, 2): where there are any, they alone go into the
    # slab and `area` only shows the plate. [mm]
    screws: FloatArray = field(default_factory=lambda: frozen_array([], 2))


@dataclass(frozen=True, slots=True)
class Edits:
    """The user's own word. Positions in slab mm, so ids may change."""

    keys: tuple[AddedKey, ...] = ()
    refused_keys: FloatArray = field(default_factory=lambda: frozen_array([], 2))
    key_counts: tuple[tuple[float, float, int], ...] = ()  # (x, y, keys) of a crack
    drawn_cracks: tuple[FloatArray, ...] = ()  # each (N, 2)
    refused_cracks: FloatArray = field(default_factory=lambda: frozen_array([], 2))
    # (x, y, x, y): an end of a crack as found or drawn, and where it is in truth. [mm]
    crack_ends: tuple[tuple[float, float, float, float], ...] = ()
    probed_depths: tuple[tuple[float, float, float], ...] = ()  # (x, y, depth)
    outline: FloatArray | None = None
    finished_top: FloatArray | None = None
    keep_out: tuple[KeepOut, ...] = ()
    note: str = ""  # on the whole file
    # (list, x, y, text): remarks on entries of "count", "end" and "depth", kept for the file's next writing.
    remarks: tuple[tuple[str, float, float, str], ...] = ()
    photo_sha256: str = ""  # of the photo that they were made on; empty: written by hand, not known
