"""Plausible records made in code: a slab with end checks, a void, keys, resin, and its rectified photo."""

from __future__ import annotations

import cv2
import numpy as np

from crackmap.keys.fit import make_key
from crackmap.keys.outline import moved
from crackmap.pipeline import StageSettings, plan_cutting
from crackmap.records import (
    Check,
    Crack,
    Datum,
    FloatArray,
    Key,
    KeyShape,
    PhotoFacts,
    Plan,
    RectifiedPhoto,
    Reference,
    ResinEstimate,
    ResinItem,
    ScaleQuality,
    Survey,
    Unheld,
    Void,
    freeze,
    frozen_array,
)
from crackmap.scale.mapping import Mapping
from crackmap.settings import CuttingSettings
from crackmap.shop import Shop

SIZES = (("large", 100.0, 40.0, 17.0), ("medium", 80.0, 32.0, 13.5), ("small", 63.0, 25.0, 10.5))
MARKER = 100.0  # [mm]


def a_survey(length: float = 1400.0, width: float = 480.0, cracks: int = 6, seed: int = 1) -> Survey:
    """A slab `length` x `width` mm with live edges, mark A near its left end and B near its right end."""
    rng = np.random.default_rng(seed)
    span = length - 240.0
    facts = PhotoFacts("slab.jpg", "ab" * 32, 3000, 2250, 26.0)
    return Survey(
        photo=facts,
        mapping=Mapping(np.array([[1.6, 0.0, 350.0], [0.0, -1.6, 1100.0], [0.0, 0.0, 1.0]])),
        scale=ScaleQuality(0.55, 0.06, 0.1, 0.6, 0.5, 0.08),
        datum=Datum(
            frozen_array([0, 0]),
            frozen_array([span, 0]),
            "markers",
            "centre of marker 3",
            "centre of marker 17",
        ),
        references=tuple(
            Reference("marker", n, frozen_array(_square(x, 0.0, MARKER)), (MARKER, MARKER))
            for n, x in ((3, 0.0), (17, span))
        ),
        outline=frozen_array(_live_edge(rng, length, width)),
        voids=(Void("V1", frozen_array(_blob(rng, 0.62 * length - 120.0, -0.25 * width, 26.0))),),
        cracks=tuple(_crack(rng, n, cracks, length, width) for n in range(cracks)),
        grain_deg=0.6,
    )


def a_plan(
    survey: Survey,
    keys: int = 12,
    shop: Shop | None = None,
    thickness_mm: float = 45.0,
    depths: tuple[float, ...] = (20.0,),
) -> Plan:
    """`keys` keys spread over the cracks, larger toward their open ends; not checked for room."""
    shop = shop or Shop()
    placed = tuple(_keys(survey, keys, shop, depths))
    held = {crack for key in placed for crack in key.cracks}
    unheld = tuple(
        Unheld(c.id, f"it is {c.widest:.1f} mm at its widest: glue alone holds it")
        for c in survey.cracks
        if c.id not in held
    )
    return Plan(placed, unheld, _resin(survey), thickness_mm)


def a_cut_plan(survey: Survey, keys: int = 12, shop: Shop | None = None, depths: tuple[float, ...] = (20.0,),
               cutting: CuttingSettings | None = None) -> Plan:
    """`a_plan` with boards for its keys, set-ups where the shop has a bed, and machine time."""
    shop, cutting = shop or Shop(), cutting or CuttingSettings()
    plan = a_plan(survey, keys, shop, depths=depths)
    return plan_cutting(survey, plan, shop, StageSettings(plan.thickness_mm, cutting=cutting))


def a_key(
    number: int,
    crack: str,
    centre: tuple[float, float],
    angle_deg: float,
    size: int = 0,
    depth: float = 20.0,
    shop: Shop | None = None,
) -> Key:
    """One key of `SIZES[size]` at a place."""
    shop = shop or Shop()
    name, length, width, waist = SIZES[size]
    shape: KeyShape = make_key("two-lobe", length, width, waist, depth, shop.bit, shop.fit)
    return Key(
        f"K{number}",
        (crack,),
        frozen_array(centre),
        angle_deg,
        shape,
        name,
        moved(shape.pocket, angle_deg, centre),
        moved(shape.key, angle_deg, centre),
        "suggested",
        ("widest open stretch",),
        (Check("floor", True, 25.0, 8.0),),
    )


def a_rectified_photo(
    survey: Survey, mm_per_px: float = 0.6, seed: int = 1, wood: tuple[int, int, int] = (196, 160, 116)
) -> RectifiedPhoto:
    """The survey's slab on a grey bench, drawn with its cracks, voids and markers."""
    rng = np.random.default_rng(seed)
    low, high = survey.outline.min(axis=0) - 90.0, survey.outline.max(axis=0) + 90.0
    columns, rows = (np.ceil((high - low) / mm_per_px)).astype(int)
    scale = 1.0 / mm_per_px
    mapping = Mapping(np.array([[scale, 0, -low[0] * scale], [0, -scale, high[1] * scale], [0, 0, 1]]))
    grain = cv2.resize(
        rng.normal(0, 14, (rows, 24)), (int(columns), int(rows)), interpolation=cv2.INTER_CUBIC
    )
    bench = 110.0 + rng.normal(0, 6, (rows, columns))
    slab = np.zeros((rows, columns), np.uint8)
    _fill(slab, mapping, survey.outline, 255)
    picture = np.where(slab[..., None] > 0, np.array(wood) + grain[..., None], bench[..., None])
    pixels = np.clip(picture, 0, 255).astype(np.uint8)
    for void in survey.voids:
        _fill(pixels, mapping, void.polygon, (38, 30, 24))
    for crack in survey.cracks:
        _fill(pixels, mapping, _lips(crack), (30, 24, 20))
    for reference in survey.references:
        _fill(pixels, mapping, reference.corners_mm * 1.0, (20, 20, 20))
    return RectifiedPhoto(
        freeze(pixels),
        freeze(np.ones((rows, columns), bool)),
        mapping,
        survey.mapping,
        survey.photo,
        survey.datum,
        survey.references,
        survey.scale,
    )


def _fill(
    image: np.ndarray, mapping: Mapping, polygon: FloatArray, colour: int | tuple[int, int, int]
) -> None:
    points = np.round(mapping.to_pixels(polygon) * 16).astype(np.int32)
    cv2.fillPoly(image, [points], colour, cv2.LINE_AA, 4)


def _lips(crack: Crack) -> FloatArray:
    run = np.gradient(crack.centreline, axis=0)
    normal = np.column_stack([-run[:, 1], run[:, 0]]) / np.hypot(*run.T)[:, None]
    half = crack.width[:, None] / 2.0
    return np.concatenate([crack.centreline + normal * half, (crack.centreline - normal * half)[::-1]])


def _square(x: float, y: float, side: float) -> FloatArray:
    return np.array([[x, y], [x, y], [x, y], [x, y]]) + side / 2.0 * np.array(
        [[-1, 1], [1, 1], [1, -1], [-1, -1]]
    )


def _live_edge(rng: np.random.Generator, length: float, width: float) -> FloatArray:
    """Anticlockwise from the lower left; 120 mm of slab left of mark A."""
    along = np.linspace(0.0, length, 160)

    def wave() -> FloatArray:
        knots = rng.normal(0.0, 0.03 * width, 9)
        return np.interp(along, np.linspace(0, length, 9), np.convolve(knots, [0.25, 0.5, 0.25], "same"))

    lower = np.column_stack([along - 120.0, -width / 2.0 + wave()])
    upper = np.column_stack([along - 120.0, width / 2.0 + wave()])[::-1]
    return np.concatenate([lower, upper])


def _blob(rng: np.random.Generator, x: float, y: float, radius: float) -> FloatArray:
    angle = np.linspace(0.0, 2.0 * np.pi, 28, endpoint=False)
    reach = radius * (1.0 + 0.25 * np.sin(2 * angle + rng.uniform(0, 6)) + 0.1 * np.sin(5 * angle))
    return np.column_stack([x + 1.4 * reach * np.cos(angle), y + reach * np.sin(angle)])


def _crack(rng: np.random.Generator, number: int, of: int, length: float, width: float) -> Crack:
    """An end check from the left or the right end, widest there."""
    long = float(rng.uniform(0.15, 0.42) * length)
    y = width * (-0.36 + 0.72 * (number + 0.5) / of)
    y += 70.0 * np.sign(y) * (abs(y) < 70.0)  # not under the markers
    share = np.linspace(0.0, 1.0, 60)
    wander = np.cumsum(rng.normal(0.0, 0.0025 * long, 60))
    from_left = number % 2 == 0
    x = -120.0 + share * long if from_left else length - 120.0 - share * long
    widest = float(rng.uniform(1.2, 9.0))
    return Crack(
        f"C{number + 1}",
        frozen_array(np.column_stack([x, y + wander])),
        frozen_array(widest * (1.0 - share) ** 0.7 + 0.2),
        ("edge", "tip"),
        0.62 if number == of - 1 else 0.95,
    )


def _keys(survey: Survey, count: int, shop: Shop, depths: tuple[float, ...]) -> list[Key]:
    if not survey.cracks:
        return []
    each = -(-count // len(survey.cracks))
    placed: list[Key] = []
    for crack in survey.cracks:
        for place in range(each):
            if len(placed) == count:
                return placed
            at = (place + 0.6) / (each + 0.4)
            centre = crack.centreline[int(at * (len(crack.centreline) - 1))]
            number = len(placed) + 1
            placed.append(
                a_key(
                    number,
                    crack.id,
                    (float(centre[0]), float(centre[1])),
                    90.0 + 3.0 * (number % 3 - 1),
                    min(place, 2),
                    depths[number % len(depths)],
                    shop,
                )
            )
    return placed


def _resin(survey: Survey) -> ResinEstimate:
    items = tuple(
        ResinItem(
            c.id,
            c.length * c.widest / 2.0,
            45.0,
            "assumed",
            c.length * c.widest * 0.0225,
            c.length * c.widest * 0.005,
            c.length * c.widest * 0.03,
        )
        for c in survey.cracks
    )
    net = sum(item.volume_ml for item in items)
    mix = 1.15 * net
    return ResinEstimate(
        items,
        net,
        0.3 * net,
        1.3 * net,
        15.0,
        mix,
        mix * 2 / 3,
        mix / 3,
        mix * 2 / 3 * 1.1,
        mix / 3 * 0.97,
        3,
        ("Seal porous walls first.",),
    )
