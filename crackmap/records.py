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
    """Make `array` read-only in place and return it (for large images: no copy)."""
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
class Placement:
    """What the placement stage returns."""

    keys: tuple[Key, ...]
    unheld: tuple[Unheld, ...]
    warnings: tuple[str, ...] = ()


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


@dataclass(frozen=True, slots=True)
class Plan:
    """What will be cut and poured: the result of survey, shop and edits."""

    keys: tuple[Key, ...]
    unheld: tuple[Unheld, ...]
    resin: ResinEstimate
    thickness_mm: float
    setups: tuple[dict[str, Any], ...] = ()
    warnings: tuple[str, ...] = ()


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


@dataclass(frozen=True, slots=True)
class KeepOut:
    """An area where nothing is cut: a base plate, screws, a clamp."""

    area: FloatArray  # (N, 2) [mm]
    from_face: str = "above"  # "above" or "below"
    depth: float | None = None  # how far it reaches into the slab; None: all through [mm]
    note: str = ""


@dataclass(frozen=True, slots=True)
class Edits:
    """The user's own word. Positions in slab mm, so ids may change."""

    keys: tuple[AddedKey, ...] = ()
    refused_keys: FloatArray = field(default_factory=lambda: frozen_array([], 2))
    key_counts: tuple[tuple[float, float, int], ...] = ()  # (x, y, keys) of a crack
    drawn_cracks: tuple[FloatArray, ...] = ()  # each (N, 2)
    refused_cracks: FloatArray = field(default_factory=lambda: frozen_array([], 2))
    probed_depths: tuple[tuple[float, float, float], ...] = ()  # (x, y, depth)
    outline: FloatArray | None = None
    finished_top: FloatArray | None = None
    keep_out: tuple[KeepOut, ...] = ()
