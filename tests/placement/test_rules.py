"""Each hard rule's figure on slabs where geometry says what it must be."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from crackmap.keys.family import KeySize
from crackmap.placement.crack_lines import join_cracks
from crackmap.placement.pockets import Pockets, gaps_of_pairs, lay_pockets, shape_cutting, touching_pairs
from crackmap.placement.rules import all_rules, measure_all
from crackmap.placement.site import lay_out_site
from crackmap.records import Edits, KeepOut, Void, frozen_array
from crackmap.settings import PlacementSettings
from crackmap.shop import Shop
from tests.placement.slabs import make_survey, straight_crack

SETTINGS = PlacementSettings()
NO_EDITS = Edits()
GROWN = 0.25  # pockets are measured 0.1 mm larger, and 0.05 mm of clearance is cut into the wood [mm]


def figure(rule: str, *, centre=(300.0, 250.0), angle=90.0, cracks=(), edits=NO_EDITS, voids=(),
           thickness=44.0) -> float:
    """A rule's figure for one 80 x 32 x 16 mm pocket, 20 mm deep, on a slab 1200 x 500 mm."""
    survey = make_survey(list(cracks), voids=tuple(voids))
    lines = join_cracks(survey.cracks, SETTINGS.join_gap)
    site = lay_out_site(survey, lines, edits, thickness, Shop().bit.cutting_length, SETTINGS)
    rules = all_rules(SETTINGS, 8.0, 18.0)
    measured = measure_all(one_pocket(centre, angle), site, rules)
    return float(measured[0, [r.name for r in rules].index(rule)])


def one_pocket(centre, angle) -> Pockets:
    cutting = shape_cutting(KeySize("any", 80.0, 32.0, 16.0, 20.0), Shop(), SETTINGS.central_share)
    return lay_pockets((cutting,), np.zeros(1, np.int64), np.array([centre], float), np.array([float(angle)]))


def test_room_to_the_slabs_edge():
    # Geometric: the head's side is 16 mm from the axis, the wing's end 40 mm from the centre.
    assert figure("slab edge", centre=(30, 250)) == pytest.approx(14.0, abs=GROWN)
    assert figure("slab edge", centre=(300, 55)) == pytest.approx(15.0, abs=GROWN)
    assert figure("slab edge", centre=(-30, 250)) == 0.0
    assert figure("slab edge", centre=(300, 250)) == np.inf


def test_room_to_the_finished_top():
    top = Edits(finished_top=frozen_array([[100, 0], [1100, 0], [1100, 500], [100, 500]], 2))
    assert figure("finished top", centre=(130, 250), edits=top) == pytest.approx(14.0, abs=GROWN)
    assert figure("finished top", centre=(50, 250), edits=top) == 0.0
    assert figure("finished top", centre=(130, 250)) == np.inf


def test_room_to_a_void():
    square = Void("V1", frozen_array([[326, 200], [400, 200], [400, 300], [326, 300]], 2))
    assert figure("voids", voids=[square]) == pytest.approx(10.0, abs=GROWN)
    inside = Void("V1", frozen_array([[200, 100], [400, 100], [400, 400], [200, 400]], 2))
    assert figure("voids", voids=[inside]) == 0.0


def test_keep_outs_from_above_and_from_below():
    area = frozen_array([[320, 200], [400, 200], [400, 300], [320, 300]], 2)
    assert figure("keep-out", edits=Edits(keep_out=(KeepOut(area),))) == pytest.approx(4.0, abs=GROWN)
    below = Edits(keep_out=(KeepOut(frozen_array([[280, 200], [400, 200], [400, 300], [280, 300]], 2),
                                    "below", 12.0),))
    assert figure("keep-out", edits=below) == np.inf
    assert figure("floor", edits=below) == pytest.approx(44 - 20 - 12)
    assert figure("floor") == pytest.approx(44 - 20)
    through = Edits(keep_out=(KeepOut(below.keep_out[0].area, "below", None),))
    assert figure("keep-out", edits=through) == 0.0


def test_wings_and_waist():
    own = straight_crack("C1", (0, 250), 600, lambda t: 4.0)
    # Geometric: wings begin 20 mm from the waist, where the 4 mm crack's lip is 2 mm.
    assert figure("sound wings", cracks=[own]) == pytest.approx(18.0, abs=GROWN)
    assert figure("wing reach", cracks=[own]) == pytest.approx(38.0, abs=GROWN)
    assert figure("cracks bridged whole", cracks=[own]) == 1.0
    through_wing = straight_crack("C2", (0, 280), 600, lambda t: 4.0)
    assert figure("sound wings", cracks=[own, through_wing]) == 0.0
    ends_inside = straight_crack("C2", (0, 256), 300, lambda t: 2.0)
    assert figure("cracks bridged whole", cracks=[own, ends_inside]) == 0.0
    hairline = straight_crack("C2", (0, 280), 600, lambda t: 0.4)
    assert figure("sound wings", cracks=[own, hairline]) == pytest.approx(18.0, abs=GROWN)


@pytest.mark.parametrize(("angle", "expected"), [(90, 90), (60, 60), (120, 60), (0, 0), (-30, 30), (179, 1)])
def test_grain_angle(angle: float, expected: float):
    assert figure("grain", angle=angle) == pytest.approx(expected)


def test_gap_of_pairs_is_never_more_than_the_true_distance():
    rng = np.random.default_rng(3)
    cutting = shape_cutting(KeySize("any", 80.0, 32.0, 16.0, 20.0), Shop(), 0.5)
    n = 60
    pockets = lay_pockets((cutting,), np.zeros(n, np.int64), rng.uniform(0, 400, (n, 2)), rng.uniform(0, 180,
                                                                                                      n))
    a, b = np.triu_indices(n, 1)
    gaps = gaps_of_pairs(pockets, a, b)
    true = shapely.distance(pockets.shapes[a], pockets.shapes[b])  # independent: shapely
    assert (gaps <= true + 0.25).all()
    beside = lay_pockets((cutting,), np.zeros(2, np.int64), np.array([[0.0, 0], [50, 0]]), np.array([90.0,
                                                                                                     90]))
    # Geometric: heads 32 mm wide, 50 mm apart.
    assert gaps_of_pairs(beside, np.array([0]), np.array([1]))[0] == pytest.approx(18.0, abs=0.15)
    assert not touching_pairs(beside, 17.0).any()
    assert touching_pairs(beside, 19.0)[0, 1]
