"""The resin stage on slabs whose volumes geometry knows."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from crackmap.errors import ResinError
from crackmap.keys.fit import make_key
from crackmap.keys.outline import moved, outline_area
from crackmap.records import Edits, Key, ResinEstimate, Survey, Void, frozen_array
from crackmap.resin.estimate import KEY_GAPS, estimate_resin
from crackmap.settings import ResinSettings
from crackmap.shop import ResinSheet, Shop
from tests.placement.slabs import make_survey, random_survey, straight_crack, tapering

# Straight walls, so that volume is area times depth.
STRAIGHT = ResinSettings(wall_share=1.0, wall_share_through=1.0, void_wall_share=1.0)
THICKNESS = 45.0  # [mm]


def item(estimate: ResinEstimate, name: str):
    return next(i for i in estimate.items if i.id == name)


def probed(*depths: tuple[float, float, float]) -> Edits:
    return Edits(probed_depths=depths)


def a_key(centre: tuple[float, float], depth: float = 20.0) -> Key:
    shape = make_key("straight", 80.0, 32.0, 16.0, depth, Shop().bit, Shop().fit)
    return Key("K1", ("C1",), frozen_array(centre), 90.0, shape, "medium", moved(shape.pocket, 90.0, centre),
               moved(shape.key, 90.0, centre), "suggested")


def test_a_void_right_through():
    # Geometric: 1200 x 40 x 45 mm is 2160 ml; with 15 % 2484 ml.
    void = Void("V1", frozen_array([[100, 100], [1300, 100], [1300, 140], [100, 140]], 2))
    survey = make_survey([], length=1500.0, voids=(void,))
    estimate = estimate_resin(survey, (), Shop(), THICKNESS, probed((700.0, 120.0, 45.0)), STRAIGHT)
    assert item(estimate, "V1").area_mm2 == pytest.approx(48_000.0)
    assert item(estimate, "V1").depth_from == "through"
    assert estimate.volume_ml == pytest.approx(2160.0)
    assert estimate.mix_ml == pytest.approx(2484.0)
    assert estimate.part_a_ml == pytest.approx(1656.0)
    assert estimate.layers == 5  # 45 mm in layers of 10 mm


def test_a_straight_crack_of_even_width_probed_half_way_down():
    survey = make_survey([straight_crack("C1", (0, 250), 300.0, lambda t: 4.0)])
    estimate = estimate_resin(survey, (), Shop(), THICKNESS, probed((150.0, 250.0, 20.0)), STRAIGHT)
    assert item(estimate, "C1").area_mm2 == pytest.approx(1200.0, rel=1e-3)  # geometric: 300 x 4
    assert estimate.volume_ml == pytest.approx(24.0, rel=1e-3)  # geometric: 300 x 4 x 20
    assert item(estimate, "C1").depth_from == "probed"


def test_area_of_a_taper_against_shapely():
    crack = straight_crack("C1", (100, 250), 200.0, lambda t: 8.0 * (1 - t), ends=("tip", "tip"))
    estimate = estimate_resin(make_survey([crack]), (), Shop(), THICKNESS)
    triangle = shapely.Polygon([(100, 254), (300, 250), (100, 246)])  # independent: shapely's area
    assert item(estimate, "C1").area_mm2 == pytest.approx(triangle.area, rel=1e-3)


def test_a_junction_is_not_counted_twice():
    stem = straight_crack("C1", (0, 250), 300.0, lambda t: 10.0)
    branch = straight_crack("C2", (150, 250), 100.0, lambda t: 6.0, angle_deg=90.0, ends=("junction", "tip"))
    estimate = estimate_resin(make_survey([stem, branch]), (), Shop(), THICKNESS)
    assert item(estimate, "C1").area_mm2 == pytest.approx(3000.0, rel=1e-3)
    # Geometric: the branch's first 5 mm lie inside the stem.
    assert item(estimate, "C2").area_mm2 == pytest.approx(95.0 * 6.0, rel=5e-3)


def test_a_crack_through_a_void_and_past_the_finished_top():
    void = Void("V1", frozen_array([[100, 200], [150, 200], [150, 300], [100, 300]], 2))
    survey = make_survey([straight_crack("C1", (0, 250), 300.0, lambda t: 4.0)], voids=(void,))
    assert item(estimate_resin(survey, (), Shop(), THICKNESS), "C1").area_mm2 == pytest.approx(1000.0,
                                                                                               rel=5e-3)
    top = Edits(finished_top=frozen_array([[200, 0], [1200, 0], [1200, 500], [200, 500]], 2))
    trimmed = estimate_resin(survey, (), Shop(), THICKNESS, top)
    assert item(trimmed, "C1").area_mm2 == pytest.approx(400.0, rel=5e-3)
    assert all(i.id != "V1" for i in trimmed.items)


def test_what_a_key_fills_takes_no_resin_but_its_gap():
    survey = make_survey([straight_crack("C1", (0, 250), 300.0, lambda t: 4.0)])
    key, edits = a_key((150.0, 250.0)), probed((150.0, 250.0, 30.0))
    without = item(estimate_resin(survey, (), Shop(), THICKNESS, edits, STRAIGHT), "C1")
    estimate = estimate_resin(survey, (key,), Shop(), THICKNESS, edits, STRAIGHT)
    pocket = shapely.Polygon(key.pocket[:, :2]).buffer(0)
    strip = shapely.box(0, 248, 300, 252)
    # Independent: shapely's overlap of strip and pocket (a straight-sided key has no arc near its waist).
    filled = strip.intersection(pocket).area * 20.0 / 1000.0
    assert without.volume_ml - item(estimate, "C1").volume_ml == pytest.approx(filled, rel=0.01)
    gap = (outline_area(key.shape.pocket) - outline_area(key.shape.key)) * 20.0 / 1000.0
    assert item(estimate, KEY_GAPS).most_ml == pytest.approx(gap)


def test_unknown_depth_gives_a_range_and_says_what_to_probe():
    survey = make_survey([straight_crack("C1", (0, 250), 300.0, tapering(8.0)),
                          straight_crack("C2", (0, 400), 60.0, tapering(2.0))])
    estimate = estimate_resin(survey, (), Shop(), THICKNESS)
    assert estimate.least_ml < estimate.volume_ml < estimate.most_ml
    # Geometric: nothing holds more than straight walls right through, a little wander allowed.
    area = sum(i.area_mm2 for i in estimate.items)
    assert estimate.most_ml == pytest.approx(area * THICKNESS * 1.05 / 1000.0, rel=1e-6)
    assert any("probe C1" in note for note in estimate.notes)
    known = estimate_resin(survey, (), Shop(), THICKNESS, probed((20.0, 250.0, 30.0)))
    assert known.most_ml - known.least_ml < 0.7 * (estimate.most_ml - estimate.least_ml)


def test_a_closed_check_is_reckoned_shallower_than_one_from_the_end():
    closed = make_survey([straight_crack("C1", (300, 250), 100.0, tapering(3.0), ends=("tip", "tip"))])
    opened = make_survey([straight_crack("C1", (0, 250), 100.0, tapering(3.0))])
    assert estimate_resin(closed, (), Shop(), THICKNESS).volume_ml < estimate_resin(opened, (), Shop(),
                                                                                    THICKNESS).volume_ml


@pytest.mark.parametrize("seed", range(12))
def test_ranges_hold_their_figure_and_add_up(seed: int):
    survey: Survey = random_survey(seed)
    estimate = estimate_resin(survey, (), Shop(), THICKNESS)
    for i in estimate.items:
        assert 0.0 <= i.least_ml <= i.volume_ml <= i.most_ml
        assert i.depth_mm <= THICKNESS
    assert estimate.volume_ml == pytest.approx(sum(i.volume_ml for i in estimate.items))
    false = {c.id for c in survey.cracks if c.confidence < 0.5}
    assert not false & {i.id for i in estimate.items}


def test_nothing_to_fill():
    estimate = estimate_resin(make_survey([]), (), Shop(), THICKNESS)
    assert (estimate.items, estimate.volume_ml, estimate.layers) == ((), 0.0, 0)


@pytest.mark.parametrize(("thickness", "edits", "says"), [
    (0.0, Edits(), "thickness must be more than zero"), (THICKNESS, probed((10, 250, -2.0)), "zero or more"),
    (THICKNESS, probed((10, 250, 60.0)), "more than the slab's thickness")])
def test_bad_input_is_one_clear_sentence(thickness: float, edits: Edits, says: str):
    survey = make_survey([straight_crack("C1", (0, 250), 300.0, tapering(4.0))])
    with pytest.raises(ResinError, match=says):
        estimate_resin(survey, (), Shop(), thickness, edits)


def test_a_probe_far_from_everything_is_left_out_and_said():
    survey = make_survey([straight_crack("C1", (0, 250), 300.0, tapering(4.0))])
    estimate = estimate_resin(survey, (), Shop(), THICKNESS, probed((900.0, 50.0, 20.0)))
    assert "left out" in estimate.notes[0]


def test_a_pot_of_nothing_is_refused():
    survey = make_survey([straight_crack("C1", (0, 250), 300.0, tapering(4.0))])
    with pytest.raises(ResinError, match="largest batch"):
        estimate_resin(survey, (), Shop(resin=ResinSheet(largest_batch=0.0)), THICKNESS)


def test_probes_along_a_crack_are_blended():
    """Two probes at the quarter points of an even crack: the mean depth is theirs."""
    survey = make_survey([straight_crack("C1", (100, 250), 400.0, lambda t: 4.0, ends=("tip", "tip"))])
    edits = probed((200.0, 250.0, 10.0), (400.0, 250.0, 30.0))
    estimate = estimate_resin(survey, (), Shop(), THICKNESS, edits, STRAIGHT)
    depth = np.interp(np.arange(400) + 0.5, [100, 300], [10,
                                                         30])  # geometric: straight in between, level outside
    assert estimate.volume_ml == pytest.approx(float(depth.sum()) * 4.0 / 1000.0, rel=5e-3)
