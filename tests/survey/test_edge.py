"""The slab's edge, against drawn slabs (geometric: exact by construction) and brute force (independent)."""

from __future__ import annotations

import itertools

import cv2
import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import Polygon

from crackmap.errors import SurveyError
from crackmap.records import RectifiedPhoto
from crackmap.settings import SurveySettings
from crackmap.survey.edge_band import band_along, evenly_spaced, ring_mean, signed_area, smoothed, tidy
from crackmap.survey.edge_mixture import fit_mixture
from crackmap.survey.edge_path import _open_paths, closed_path
from crackmap.survey.edge_region import _convex_cut, _Cut, _primal_dual
from crackmap.survey.face import Face, measure_face
from crackmap.survey.light import linear_light, shade_and_tints
from tests.survey.scenes import BENCH, Scene, scene, striped_wood, wavy_outline

OUTLINE = wavy_outline(90, 660, 110, 340)


def overlap(drawn: Scene, face: Face) -> float:
    """IoU of the found and the drawn face. [-]"""
    true, found = Polygon(drawn.mapping.to_slab(drawn.outline)), Polygon(face.outline)
    return true.intersection(found).area / true.union(found).area


def mean_distance(drawn: Scene, face: Face) -> float:
    """From the found outline to the drawn one. [mm]"""
    true = Polygon(drawn.mapping.to_slab(drawn.outline)).exterior
    stations = evenly_spaced(np.array(face.outline), 2.0)
    return float(shapely.distance(true, shapely.points(stations)).mean())


def test_plain_slab_to_a_fraction_of_a_pixel() -> None:
    drawn = scene(OUTLINE)
    face = measure_face(drawn.rectified((370, 220)), SurveySettings())
    assert overlap(drawn, face) > 0.995  # geometric: drawn outline
    assert mean_distance(drawn, face) < 0.35  # [mm], a third of a pixel
    assert signed_area(np.array(face.outline)) > 0  # anticlockwise, as the record says
    assert face.warnings == ()


@pytest.mark.parametrize(
    "extras",
    [{"bark": 10.0}, {"paint": 14.0}, {"paint": 5.0}, {"shadow": True}, {"bark": 8.0, "shadow": True}],
    ids=["bark", "end paint", "narrow end paint", "cast shadow", "bark and shadow"],
)
def test_show_face_ends_inside_the_bark_and_outside_the_paint(extras: dict[str, float | bool]) -> None:
    drawn = scene(OUTLINE, **extras)
    face = measure_face(drawn.rectified((370, 220)), SurveySettings())
    # With 10 mm of bark on both long sides the silhouette's IoU would be 0.92;
    # without the 14 mm of painted end it would be 0.975.
    assert overlap(drawn, face) > 0.99
    assert mean_distance(drawn, face) < 1.0  # [mm], the goal set for photographs


def test_no_marker_on_the_slab() -> None:
    drawn = scene(OUTLINE)
    assert overlap(drawn, measure_face(drawn.rectified(None), SurveySettings())) > 0.99


def test_slab_upright_in_the_picture() -> None:
    drawn = scene(OUTLINE)
    turned = Scene(np.ascontiguousarray(drawn.pixels.transpose(1, 0, 2)), drawn.outline[:, ::-1])
    face = measure_face(turned.rectified((220, 370)), SurveySettings())
    assert overlap(turned, face) > 0.995


def test_marker_over_the_edge_is_bridged() -> None:
    drawn = scene(OUTLINE)
    face = measure_face(drawn.rectified((370, 330)), SurveySettings())
    assert overlap(drawn, face) > 0.985


def test_corner_under_a_marker_is_kept() -> None:
    drawn = scene(OUTLINE)
    face = measure_face(drawn.rectified((615, 305)), SurveySettings())
    # Cutting the corner along the marker's diagonal would take 3,200 mm2 off 127,000: IoU 0.975 (geometric).
    assert overlap(drawn, face) > 0.99


def test_barkless_flank_is_not_the_face() -> None:
    drawn = scene(OUTLINE)
    wider = OUTLINE.copy()
    wider[: len(wider) // 2, 1] -= 18.0  # [px] of 1 mm: a flank along the upper live edge
    flank = scene(wider).pixels * 0.65
    pixels = drawn.pixels.copy()
    seen = np.zeros(pixels.shape[:2], np.uint8)
    for ring, value in ((wider, 1), (OUTLINE, 0)):
        cv2.fillPoly(seen, [np.round(ring).astype(np.int32)], value)
    pixels[seen > 0] = flank[seen > 0]
    face = measure_face(Scene(pixels, OUTLINE).rectified((370, 220)), SurveySettings())
    assert overlap(drawn, face) > 0.985  # with the flank it would be 0.93 (geometric)


def test_two_pieces_are_told_of() -> None:
    first, second = wavy_outline(60, 700, 40, 200), wavy_outline(60, 700, 270, 430)
    upper, lower = scene(first), scene(second)
    both = upper.pixels.copy()
    both[230:] = lower.pixels[230:]
    face = measure_face(Scene(both, first).rectified((370, 120)), SurveySettings())
    assert any("2 pieces" in w for w in face.warnings)
    assert overlap(upper, face) > 0.99  # the one with the marker on it


def test_slab_cut_by_the_border_is_said() -> None:
    drawn = scene(wavy_outline(90, 900, 110, 340))
    face = measure_face(drawn.rectified((370, 220)), SurveySettings())
    assert any("border cuts the slab" in w for w in face.warnings)
    assert len(face.border) > 150  # [mm]; 230 mm of end lie on the border (geometric)
    inside = Polygon(drawn.mapping.to_slab(drawn.outline)).intersection(shapely.box(0, 0, 759, 459))
    assert Polygon(face.outline).intersection(inside).area / inside.area > 0.98


def test_users_outline_wins() -> None:
    drawn = scene(OUTLINE)
    own = np.array([[100.0, 100], [600, 100], [600, 300], [100, 300]])
    face = measure_face(drawn.rectified((370, 220)), SurveySettings(), own)
    assert Polygon(face.outline).symmetric_difference(Polygon(own)).area < 1.0  # [mm2]


@pytest.mark.parametrize("kind", ["black", "all wood", "bare bench"])
def test_one_sentence_where_there_is_no_slab(kind: str) -> None:
    everywhere = np.array([[-50.0, -50], [900, -50], [900, 600], [-50, 600]])
    drawn = scene(everywhere if kind == "all wood" else everywhere - 3000.0)
    if kind == "black":
        drawn = Scene((drawn.pixels * 0.03).astype(np.uint8), drawn.outline)
    with pytest.raises(SurveyError) as raised:
        measure_face(drawn.rectified(None if kind == "black" else (370, 220)), SurveySettings())
    assert str(raised.value).endswith(".") and "\n" not in str(raised.value)


def _sheet_alone() -> RectifiedPhoto:
    """A marker with its paper on a bench that fills the view; no slab."""
    bench = np.clip(striped_wood((460, 760), BENCH), 0, 255).astype(np.uint8)
    return Scene(bench, np.zeros((0, 2))).rectified((370, 220))


def _of_one_kind(kind: str) -> RectifiedPhoto:
    rng = np.random.default_rng(4)
    pixels = {
        "white": np.full((460, 760, 3), 255, np.uint8),
        "noise": rng.integers(0, 256, (460, 760, 3), np.uint8),
        "grey": np.full((460, 760, 3), 128, np.uint8),
    }[kind]
    return Scene(pixels, np.zeros((0, 2))).rectified(None)


@pytest.mark.parametrize("kind", ["white", "noise", "grey", "a marker sheet alone"])
def test_one_sentence_where_nothing_can_be_told_apart(kind: str) -> None:
    rectified = _sheet_alone() if kind == "a marker sheet alone" else _of_one_kind(kind)
    with pytest.raises(SurveyError) as raised:
        measure_face(rectified, SurveySettings())
    assert str(raised.value).endswith(".") and "\n" not in str(raised.value)


def test_a_long_ring_run_in_pieces_is_run_as_a_whole() -> None:
    rng = np.random.default_rng(6)
    cost = (0.02 * (np.arange(30)[None] - 15 - 6 * np.sin(np.arange(900) / 40)[:, None]) ** 2).astype(np.float32)
    cost += rng.random(cost.shape, np.float32)
    # independent: the ring three times over as one piece, its middle third
    whole = _open_paths(np.tile(cost, (3, 1))[:, None], 2, 0.4)[900:1800, 0]
    assert (closed_path(cost, 2, 0.4) == whole).mean() > 0.99


def test_convex_cut_from_coarse_to_fine_is_the_long_run_s() -> None:
    rng = np.random.default_rng(8)
    y, x = np.mgrid[:60, :90]
    evidence = np.where(np.hypot((x - 45) / 30, (y - 30) / 18) < 1, 0.5, -0.5) + rng.normal(0, 1.0, x.shape)
    evidence = np.clip(evidence, -1.5, 1.5).astype(np.float32)
    stiffness = np.full(x.shape, 0.8, np.float32)
    nothing = np.zeros_like(evidence)
    # independent: a thousand steps from nothing
    long = _primal_dual(_Cut((evidence > 0).astype(np.float32), nothing, nothing), evidence, stiffness, 1000).u > 0.5
    quick = _convex_cut(evidence, stiffness, None)
    again = _convex_cut(evidence, stiffness, quick)
    assert ((quick.u > 0.5) != long).mean() < 0.01
    assert ((again.u > 0.5) != long).mean() < 0.005


def test_closed_path_is_the_cheapest() -> None:
    cost = np.random.default_rng(0).random((7, 4))
    moves = np.arange(-1, 2)
    price = 0.3 * np.minimum(moves**2, 3 * np.abs(moves))

    def total(path: tuple[int, ...]) -> float:
        steps = np.diff([*path, path[0]])
        if np.abs(steps).max() > 1:
            return np.inf
        return float(sum(cost[k, p] for k, p in enumerate(path)) + sum(price[s + 1] for s in steps))

    best = min(itertools.product(range(4), repeat=7), key=total)  # independent: every path tried
    assert total(tuple(closed_path(cost, 1, 0.3))) == pytest.approx(total(best), abs=0.2)


def test_path_follows_a_marked_ring() -> None:
    wanted = np.round(20 + 8 * np.sin(np.arange(300) * 2 * np.pi / 300)).astype(int)
    cost = np.ones((300, 40))
    cost[np.arange(300), wanted] = 0
    assert (closed_path(cost, 3, 0.1) == wanted).all()  # geometric


def test_linear_light_follows_the_standard() -> None:
    # published: IEC 61966-2-1, code 188 is light 0.5029 and code 10 lies on the straight part.
    codes = np.array([[0, 10, 188, 255]], np.uint8)
    assert linear_light(codes)[0] == pytest.approx([0.0, 10 / 255 / 12.92, 0.5029, 1.0], abs=2e-4)


@given(st.floats(0.2, 1.0))
@settings(max_examples=30, deadline=None)
def test_shadow_moves_shade_and_hardly_the_tints(factor: float) -> None:
    light = np.array([[0.5, 0.35, 0.2]], np.float32)
    plain, shaded = shade_and_tints(light)[0], shade_and_tints(light * np.float32(factor))[0]
    # Geometric: ln of the factor, up to what the floor of 0.004 does to light of 0.04.
    assert shaded[0] - plain[0] == pytest.approx(np.log(factor), abs=0.06)
    assert np.abs(shaded[1:] - plain[1:]).max() < 0.08


@given(st.floats(20, 200), st.floats(20, 200), st.floats(0.5, 4))
@settings(max_examples=30, deadline=None)
def test_evenly_spaced_keeps_length_and_area(width: float, height: float, step: float) -> None:
    ring = np.array([[0, 0], [width, 0], [width, height], [0, height]], float)
    points = evenly_spaced(ring, step)
    gaps = np.hypot(*np.diff(np.vstack([points, points[:1]]), axis=0).T)
    assert gaps.max() <= 2 * (width + height) / len(points) + 1e-9
    assert abs(signed_area(points)) == pytest.approx(width * height, rel=0.1)


def test_smoothing_keeps_a_constant_and_the_mean() -> None:
    values = np.random.default_rng(1).random((50, 2))
    assert smoothed(np.ones((50, 2)), 3.0) == pytest.approx(np.ones((50, 2)))
    assert smoothed(values, 3.0).mean(axis=0) == pytest.approx(values.mean(axis=0))
    by_hand = [np.take(values, range(k - 2, k + 3), axis=0, mode="wrap").mean(axis=0) for k in range(50)]
    assert ring_mean(values, 2) == pytest.approx(np.array(by_hand))  # independent: written out


def test_normals_point_outward_whichever_way_the_ring_runs() -> None:
    turn = np.linspace(0, 2 * np.pi, 200, endpoint=False)
    circle = 100 + 50 * np.stack([np.cos(turn), np.sin(turn)], 1)
    for ring in (circle, circle[::-1]):
        band = band_along(ring, 1.0, 2.0, np.arange(-5.0, 6.0), 0.0, 4.0)
        radius = np.hypot(*(band.at(np.full(len(band.stations), 5.0)) - 100).T)
        assert radius == pytest.approx(np.full(len(radius), 55.0), abs=0.1)  # geometric


def test_tidy_fills_a_mouth_and_cuts_an_arm_but_keeps_corners() -> None:
    slab = Polygon([(0, 0), (300, 0), (300, 150), (0, 150)])
    ragged = slab.difference(shapely.box(140, 100, 148, 151)).union(shapely.box(60, 149, 75, 220))
    ring = np.array(ragged.exterior.coords)[:-1]
    mended = Polygon(tidy(ring, 1.0, mouth=18.0, arm=30.0, corner=12.0))
    assert mended.symmetric_difference(slab).area < 0.02 * slab.area  # the grid's own half pixel


def test_mixture_parts_two_materials() -> None:
    rng = np.random.default_rng(2)
    a = rng.normal(0, 0.3, (400, 3)).astype(np.float32)
    b = rng.normal(4, 0.3, (400, 3)).astype(np.float32)
    odds = fit_mixture(a, 2).log_density(b) - fit_mixture(b, 2).log_density(b)
    assert (odds < 0).all()
