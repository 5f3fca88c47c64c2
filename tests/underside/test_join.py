"""The underside laid under the show face, and its openings matched."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from crackmap.errors import UndersideError
from crackmap.records import BLIND, THROUGH, UNKNOWN, CommonPoint, PhotoFacts, Reference, frozen_array
from crackmap.scale.mapping import Mapping
from crackmap.settings import UndersideSettings
from crackmap.underside.contour import contour_of, is_sawn
from crackmap.underside.join import join_faces, looked_at_again
from crackmap.underside.register import register
from tests.underside.faces import LEAN, LENGTH, THICKNESS, THROUGH_TO, WIDTH, show_face, true_place, underside

GRID = np.array([(x, y) for x in (50.0, 700.0, 1350.0) for y in (60.0, 420.0)])


def off_by(matrix: np.ndarray, turn: float, shift: tuple[float, float]) -> float:
    """Greatest error of the pose over the slab. [mm]"""
    a = np.radians(turn)
    under = (GRID * (1.0, -1.0)) @ np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]]) + shift
    ours = np.column_stack([under, np.ones(len(under))]) @ matrix.T
    return float(np.hypot(*(ours[:, :2] - true_place(under, turn, shift)).T).max())


@pytest.mark.parametrize(("turn", "shift"), [(0.0, (0.0, 0.0)), (6.0, (300.0, -40.0)), (180.0, (1400.0, 20.0)),
                                             (-95.0, (10.0, 900.0))])
def test_by_outline_with_different_bevels(turn: float, shift: tuple[float, float]) -> None:
    """geometric: the pose is known; both sides' bevels differ, and the crack leans by 3 mm."""
    other = join_faces(show_face(), underside(turn, shift), THICKNESS)
    assert other.method == "outline" and other.notes == ()
    assert off_by(other.under_to_show, turn, shift) < 3.5
    assert other.residual_mm < 2.0
    assert np.linalg.det(other.under_to_show) == pytest.approx(-1.0)  # geometric: a mirror keeps lengths


@pytest.mark.parametrize("bevels", [(0.0, 0.0), (-9.0, -9.0), (15.0, 15.0)])
def test_equal_bevels_need_no_openings(bevels: tuple[float, float]) -> None:
    other = join_faces(show_face(), underside(4.0, (12.0, 30.0), bevels, with_openings=False), THICKNESS)
    # The lower edge's bevel grows by 30 % along the slab in these faces: half of that cannot be told from a turn.
    assert off_by(other.under_to_show, 4.0, (12.0, 30.0)) < 4.0
    assert any("across the slab the underside may lie" in note for note in other.notes)


def test_common_points_by_procrustes() -> None:
    show_at = np.array([(60.0, 70.0), (1300.0, 90.0), (640.0, 400.0)])
    a = np.radians(33.0)
    under_at = (show_at * (1.0, -1.0)) @ np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]]) + (55.0, -20.0)
    points = tuple(CommonPoint(f"p{k}", frozen_array(s), frozen_array(u))
                   for k, (s, u) in enumerate(zip(show_at, under_at, strict=True)))
    pose = register(show_face(), underside(33.0, (55.0, -20.0)), THICKNESS, points, UndersideSettings())
    assert pose.method == "points" and pose.residual < 1e-9
    assert off_by(pose.matrix, 33.0, (55.0, -20.0)) < 1e-6  # geometric: exact points give the exact pose
    wrong = (*points[:2], CommonPoint("p2", points[2].show, frozen_array(points[2].under + (40.0, 0.0))))
    with pytest.raises(UndersideError, match=r"contradict each other by \d+\.\d mm"):
        register(show_face(), underside(33.0, (55.0, -20.0)), THICKNESS, wrong, UndersideSettings())


def test_through_blind_and_where_it_comes_out() -> None:
    other = join_faces(show_face(), underside(3.0, (20.0, 5.0)), THICKNESS)
    below = {b.opening: b for b in other.below}
    c1 = below["C1"]
    x = np.asarray(show_face().cracks[0].centreline)[:, 0]
    told = c1.state == THROUGH
    assert c1.word == "partly through" and c1.under == ("C1",)
    assert abs(x[told].max() - THROUGH_TO) < 8.0 and told[x < THROUGH_TO - 8.0].all()
    assert np.allclose(c1.width[told], 4.0, atol=0.01)
    assert below["C2"].word == "blind" and (below["C2"].state == BLIND).all()
    assert (below["V1"].word, below["V2"].word) == ("through", "blind")
    assert below["V1"].area_mm2 == pytest.approx(np.pi * 100.0, rel=0.02)  # geometric: a circle of radius 10
    assert other.only_below == ()


def test_under_a_marker_nothing_is_told() -> None:
    face = underside()
    corners = frozen_array([(720.0, -420.0), (880.0, -420.0), (880.0, -260.0), (720.0, -260.0)])
    covered = replace(face, references=(Reference("marker", 3, corners, (160.0, 160.0)),))
    state = next(b for b in join_faces(show_face(), covered, THICKNESS).below if b.opening == "C2").state
    assert (state == UNKNOWN).all()


def test_cracks_drawn_later_are_looked_up_below_as_well() -> None:
    show = show_face()
    joined = replace(show, other_face=join_faces(replace(show, cracks=show.cracks[1:]), underside(), THICKNESS))
    assert "C1" in (joined.other_face.only_below if joined.other_face else ())
    again = looked_at_again(joined, THICKNESS).other_face
    assert again is not None and again.only_below == ()
    assert next(b for b in again.below if b.opening == "C1").word == "partly through"


def test_another_slab_is_refused_with_the_figure() -> None:
    shorter = underside()
    shorter = replace(shorter, outline=frozen_array(shorter.outline * (0.9, 1.0)))
    with pytest.raises(UndersideError, match="1260 mm long and the show face 1400 mm"):
        join_faces(show_face(), shorter, THICKNESS)
    bent = underside()
    curved = np.asarray(bent.outline) + np.column_stack([np.zeros(len(bent.outline)),
                                                         90.0 * np.sin(np.asarray(bent.outline)[:, 0] / 180.0)])
    with pytest.raises(UndersideError, match=r"outline lies \d+\.\d mm off on average"):
        join_faces(show_face(), replace(bent, outline=frozen_array(curved)), THICKNESS)


def test_a_rectangle_alone_cannot_tell_how_it_was_turned() -> None:
    board = [(0.0, 0.0), (1200.0, 0.0), (1200.0, 300.0), (0.0, 300.0)]
    show = replace(show_face(), cracks=(), voids=(), outline=frozen_array(board))
    under = replace(underside(), cracks=(), voids=(), outline=frozen_array([(x, -y) for x, y in board[::-1]]))
    assert any("--turned" in note for note in join_faces(show, under, THICKNESS).notes)
    hinted = join_faces(show, under, THICKNESS, UndersideSettings(turned="side"))
    assert hinted.notes == () and np.allclose(hinted.under_to_show, np.diag([1.0, -1.0, 1.0]), atol=0.05)


def test_common_places_must_lie_in_the_photos_and_markers_on_both() -> None:
    facts = PhotoFacts("a.jpg", "", 3000, 2000)
    mapping = Mapping(np.diag([2.0, -2.0, 1.0]))
    show, under = (replace(face, photo=facts, mapping=mapping) for face in (show_face(), underside()))
    with pytest.raises(UndersideError, match="common point 1 lies at 5000, 10 px, outside the photo a.jpg"):
        join_faces(show, under, THICKNESS, UndersideSettings(common_px=((10.0, 10.0, 5000.0, 10.0),)))
    with pytest.raises(UndersideError, match="marker 7 was said to lie over a drilled hole"):
        join_faces(show, under, THICKNESS, UndersideSettings(drilled_markers=(7,)))


def test_sawn_sides_are_told_from_live_ones() -> None:
    live = contour_of(show_face().outline)
    sawn = contour_of([(0.0, 0.0), (LENGTH, 0.0), (LENGTH, WIDTH), (0.0, WIDTH)])
    assert not is_sawn(live, 1) and not is_sawn(live, -1)
    assert is_sawn(sawn, 1) and is_sawn(sawn, -1)
    assert LEAN < THICKNESS
