"""Painted lines, zones and harder scenes: colour on the face that is no crack in the truth."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from crackmap.demo.look_alikes import with_look_alikes
from crackmap.demo.patches import random_patch, render_patch
from crackmap.demo.random_scene import random_scene
from crackmap.demo.scene import CrackShape, PaintedLine, SlabScene, Zone
from crackmap.demo.stains import spalt_zones
from crackmap.records import frozen_array

SOUND = {
    "end_checks": 0, "surface_checks": 0, "hairlines": 0, "branches": 0, "split": False, "ring_shakes": 0,
    "knot_checks": False, "knot_holes": 0, "inclusions": 0, "knots": 0, "markers": 0, "props": (),
}


@pytest.fixture(scope="module")
def bare() -> SlabScene:
    """A clean maple slab without cracks or marks."""
    scene = random_scene(8, look="maple", clean=True, light="overcast", **SOUND)
    return dataclasses.replace(scene, marks=(), zones=())


def _middle(scene: SlabScene) -> np.ndarray:
    return np.array([scene.length / 2, 0.0])


def test_a_painted_line_darkens_its_own_width_and_no_mask(bare: SlabScene) -> None:
    centre = _middle(bare)
    path = centre + np.stack([np.linspace(-60, 60, 241), np.zeros(241)], 1)
    line = PaintedLine(frozen_array(path), frozen_array(np.full(241, 3.0)), 1.0, (0.8, 0.8, 0.8))
    before = render_patch(bare, centre, 64, 0.5)
    after = render_patch(dataclasses.replace(bare, lines=(line,)), centre, 64, 0.5)
    assert not after.crack.any() and not after.void.any()
    light = [(patch.pixels[:, 32].mean(-1) / 255.0) ** 2.2 for patch in (before, after)]
    missing = float((1 - light[1] / light[0]).sum()) * 0.5
    assert missing == pytest.approx(0.8 * 3.0, rel=0.05)  # geometric: share taken times width [mm]


def test_the_figure_shows_through_pigment_and_not_through_ink(bare: SlabScene) -> None:
    centre = _middle(bare)
    path = centre + np.stack([np.linspace(-60, 60, 241), np.zeros(241)], 1)
    wide = frozen_array(np.full(241, 20.0))
    spread = []
    for ink in (None, (40.0, 40.0, 40.0)):
        line = PaintedLine(frozen_array(path), wide, 1.0, (0.5, 0.5, 0.5), opaque=ink)
        seen = render_patch(dataclasses.replace(bare, lines=(line,)), centre, 32, 0.5).pixels[8:24, 8:24].astype(float)
        spread.append(seen.std((0, 1)).mean() / seen.mean())
    assert spread[0] > 3 * spread[1]


def test_a_zone_line_keeps_its_width(bare: SlabScene) -> None:
    zone = Zone(5, 30.0, 12.0, (0.0,), (0.0, 0.0, 0.0), line_mm=1.2, softness=0.2, wobble=0.0)
    plain = dataclasses.replace(bare, finish=dataclasses.replace(bare.finish, mineral=0.0))
    centre = _middle(bare)
    before, after = (render_patch(s, centre, 400, 0.4) for s in (plain, dataclasses.replace(plain, zones=(zone,))))
    dark = after.pixels.mean(-1) < 0.6 * before.pixels.mean(-1)
    assert dark.any()
    from skimage.morphology import skeletonize

    length = skeletonize(dark).sum()  # independent: area over length of the skeleton
    assert dark.sum() / length == pytest.approx(1.2 / 0.4, rel=0.4)


@pytest.mark.parametrize("seed", range(4))
def test_harder_scenes_are_as_seeded_and_keep_their_cracks(seed: int) -> None:
    scene = random_scene(seed, markers=0)
    once, again = (with_look_alikes(scene, np.array([200.0, 0.0]), 60.0, seed) for _ in range(2))
    assert len(once.lines) == len(again.lines) and once.zones == again.zones
    for before, after in zip(scene.cracks, once.cracks, strict=True):
        assert np.array_equal(before.centreline, after.centreline) and np.array_equal(before.width, after.width)
        assert (after.depth <= before.depth + 1e-9).all() and (after.depth > 0).all()


def test_a_harder_patch_without_cracks_has_an_empty_crack_mask() -> None:
    for seed in range(3):
        patch = random_patch(seed, 96, look_alikes=True, **SOUND)
        assert not patch.crack.any()
        assert patch.pixels.dtype == np.uint8


def test_no_rot_no_zone_lines() -> None:
    assert spalt_zones(0.0, 3) == ()
    (zone,) = spalt_zones(1.0, 3)
    assert 0.3 <= zone.line_mm <= 1.9


def test_a_crack_with_pale_walls_is_as_wide_and_lighter_inside(bare: SlabScene) -> None:
    centre = _middle(bare)
    path = centre + np.stack([np.linspace(-60, 60, 241), np.zeros(241)], 1)
    gap = CrackShape("split", frozen_array(path), frozen_array(np.full(241, 6.0)), frozen_array(np.full(241, 4.0)),
                     frozen_array(np.zeros(241)))
    dark, pale = (dataclasses.replace(gap, wall=wall) for wall in ((40.0, 30.0, 20.0), (220.0, 200.0, 170.0)))
    seen = [render_patch(dataclasses.replace(bare, cracks=(crack,)), centre, 64, 0.5) for crack in (dark, pale)]
    assert np.array_equal(seen[0].crack, seen[1].crack)
    inside = seen[0].crack > 0.99
    assert inside.any() and seen[1].pixels[inside].mean() > 1.3 * seen[0].pixels[inside].mean()


def test_more_specks_of_dust_the_lower_they_begin(bare: SlabScene) -> None:
    finishes = [dataclasses.replace(bare.finish, dust=1.0, speck_level=level) for level in (2.3, 1.3)]
    dark = [dataclasses.replace(bare, look="walnut", finish=finish) for finish in finishes]
    few, many = (render_patch(scene, _middle(bare), 96, 0.3).pixels for scene in dark)
    more = many.astype(int) - few  # sawdust is paler than walnut
    assert (more > 8).any(-1).mean() > 0.02 and not (more < -8).any()


def test_a_piece_without_cracks_lies_at_a_feature_if_wished() -> None:
    wishes = SOUND | {"knots": 4}
    shown = [random_patch(seed, 64, mm_per_px=0.5, near_feature=1.0, **wishes) for seed in range(6)]
    anywhere = [random_patch(seed, 64, mm_per_px=0.5, **wishes) for seed in range(6)]
    assert any((patch.face < 0.5).any() for patch in shown)  # geometric: a piece at the slab's edge shows the bench
    assert all(not patch.crack.any() for patch in shown + anywhere)
