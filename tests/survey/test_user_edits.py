"""The user's word on outline and cracks, applied, applied again, and taken back."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from crackmap.errors import SurveyError
from crackmap.records import Crack, Edits, FloatArray, Survey, frozen_array
from crackmap.settings import SurveySettings
from crackmap.survey.user_edits import trace_crack, with_user_edits
from tests.builders import a_rectified_photo, a_survey

SETTINGS = SurveySettings()


def _survey() -> Survey:
    """Two straight cracks along x: C1 from 0 to 100 at y 0, C2 from 200 to 260 at y 40."""
    base = a_survey(cracks=0)
    lines = (np.linspace(0, 100, 51), 0.0), (np.linspace(200, 260, 31), 40.0)
    cracks = tuple(
        Crack(f"C{k}", frozen_array(np.c_[x, np.full_like(x, y)]), frozen_array(np.full(len(x), 2.0)),
              ("tip", "tip"), 0.9)
        for k, (x, y) in enumerate(lines, 1))
    return replace(base, cracks=cracks)


def _straight(points: FloatArray) -> Crack:
    """A tracer that joins the points, a vertex each millimetre."""
    length = float(np.hypot(*np.diff(points, axis=0).T).sum())
    share = np.linspace(0, 1, int(length) + 2)
    at = np.linspace(0, 1, len(points))
    line = np.c_[np.interp(share, at, points[:, 0]), np.interp(share, at, points[:, 1])]
    return Crack("", frozen_array(line), frozen_array(np.full(len(line), 1.0)), ("tip", "tip"), 1.0, drawn_by_user=True)


def _edited(survey: Survey, **edits: object) -> Survey:
    return with_user_edits(survey, Edits(**edits), _straight, SETTINGS)  # type: ignore[arg-type]


def test_no_word_changes_nothing() -> None:
    survey = _survey()
    assert [c.id for c in _edited(survey).cracks] == ["C1", "C2"] and _edited(survey).set_aside == ()


def test_a_refused_crack_is_set_aside_and_comes_back() -> None:
    survey = _survey()
    refused = _edited(survey, refused_cracks=frozen_array([[50.0, 3.0]]))
    assert [c.id for c in refused.cracks] == ["C2"] and [c.id for c in refused.set_aside] == ["C1"]
    again = _edited(refused, refused_cracks=frozen_array([[50.0, 3.0]]))
    assert [c.id for c in again.cracks] == ["C2"] and [c.id for c in again.set_aside] == ["C1"]
    back = _edited(again)
    assert [c.id for c in back.cracks] == ["C1", "C2"]
    assert np.array_equal(back.cracks[0].centreline, survey.cracks[0].centreline)


def test_a_point_out_of_reach_refuses_nothing() -> None:
    survey = _survey()
    assert len(_edited(survey, refused_cracks=frozen_array([[50.0, SETTINGS.edit_reach + 1.0]])).cracks) == 2


@pytest.mark.parametrize(("end", "to", "left"), [((100.0, 0.0), (60.0, 5.0), (0.0, 60.0)),
                                                 ((0.0, 0.0), (30.0, -4.0), (30.0, 100.0))])
def test_a_crack_is_cut_where_its_end_is_said_to_be(end: tuple[float, float], to: tuple[float, float],
                                                    left: tuple[float, float]) -> None:
    cut = _edited(_survey(), crack_ends=((*end, *to),)).cracks[0]
    assert (cut.centreline[0, 0], cut.centreline[-1, 0]) == pytest.approx(left)  # geometric: the foot on the x axis
    assert cut.length == pytest.approx(left[1] - left[0]) and len(cut.width) == len(cut.centreline)
    assert cut.drawn_by_user and cut.confidence == 0.9


@pytest.mark.parametrize(("end", "to"), [((100.0, 0.0), (130.0, 0.0)), ((0.0, 0.0), (-30.0, 0.0))])
def test_a_crack_is_followed_past_its_end(end: tuple[float, float], to: tuple[float, float]) -> None:
    longer = _edited(_survey(), crack_ends=((*end, *to),)).cracks[0]
    assert longer.length == pytest.approx(130.0)  # geometric: straight on by 30 mm
    assert (np.diff(longer.centreline[:, 0]) >= 0).all()  # still from left to right
    assert len(longer.width) == len(longer.centreline)


def test_both_ends_and_back() -> None:
    survey = _survey()
    short = _edited(survey, crack_ends=((100.0, 0.0, 70.0, 0.0), (0.0, 0.0, 20.0, 0.0)))
    assert short.cracks[0].length == pytest.approx(50.0) and [c.id for c in short.set_aside] == ["C1"]
    # The same word on the survey that has it already comes to the same.
    again = _edited(short, crack_ends=((100.0, 0.0, 70.0, 0.0), (0.0, 0.0, 20.0, 0.0)))
    assert again.cracks[0].length == pytest.approx(50.0)
    assert _edited(again).cracks[0].length == pytest.approx(100.0)


@pytest.mark.parametrize("entry", [(100.0, 0.0, SETTINGS.least_left - 1.0, 0.0), (500.0, 0.0, 400.0, 0.0)])
def test_an_end_that_fits_no_crack_any_more_is_a_warning(entry: tuple[float, float, float, float]) -> None:
    survey = _edited(_survey(), crack_ends=(entry,))
    assert [c.length for c in survey.cracks] == pytest.approx([100.0, 60.0]) and survey.set_aside == ()
    assert len([w for w in survey.warnings if "fits no crack" in w]) == 1
    assert [w for w in _edited(survey, crack_ends=(entry,)).warnings if "fits no crack" in w] == [
        w for w in survey.warnings if "fits no crack" in w]
    assert not any("fits no crack" in w for w in _edited(survey).warnings)


def test_of_branches_that_share_an_end_the_one_meant_is_cut() -> None:
    base = _survey()
    x = np.linspace(0, 60, 31)
    branch = Crack("C3", frozen_array(np.c_[100 + x * 0.0, x]), frozen_array(np.full(31, 1.0)),
                   ("junction", "tip"), 0.9)
    survey = replace(base, cracks=(*base.cracks, branch))
    for to, lengths in (((100.0, 20.0), [100, 60, 40]), ((70.0, 0.0), [70, 60, 60])):
        cut = _edited(survey, crack_ends=((100.0, 0.0, *to),))
        assert [c.length for c in cut.cracks] == pytest.approx(lengths)


def test_a_drawn_crack_is_numbered_after_those_found_and_joins_what_it_touches() -> None:
    survey = _edited(_survey(), drawn_cracks=(frozen_array([[50.0, 2.0], [50.0, 40.0]]),))
    drawn = survey.cracks[-1]
    assert drawn.id == "C3" and drawn.drawn_by_user and drawn.ends == ("junction", "tip")
    assert drawn.centreline[0].tolist() == [50.0, 0.0]
    assert [c.id for c in _edited(survey).cracks] == ["C1", "C2"]


def test_the_users_outline_and_the_found_one() -> None:
    survey = _survey()
    own = frozen_array([[-50.0, -100.0], [400.0, -100.0], [400.0, 100.0], [-50.0, 100.0]])
    edited = _edited(survey, outline=own)
    assert np.array_equal(edited.outline, own) and edited.found_outline is survey.outline
    other = _edited(edited, outline=own + 5.0)
    assert other.found_outline is survey.outline
    back = _edited(other)
    assert back.outline is survey.outline and back.found_outline is None
    with pytest.raises(SurveyError, match="measure again"):
        _edited(replace(survey, found_outline=frozen_array([], 2)))


def test_a_traced_crack_follows_the_picture() -> None:
    survey = a_survey(900.0, 380.0, 3)
    rectified = a_rectified_photo(survey, 0.6)
    truth = survey.cracks[0].centreline
    crack = trace_crack(rectified, survey, truth[[3, 20, 40]])
    gaps = [np.hypot(*(truth - p).T).min() for p in crack.centreline]
    # Half the spacing of the truth's points (3 mm) and a pixel or two of 0.6 mm.
    assert np.median(gaps) < 2.7 and crack.drawn_by_user
    assert np.median(crack.width) == pytest.approx(float(np.median(survey.cracks[0].width[3:41])), abs=1.2)
