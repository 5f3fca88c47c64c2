"""Scenes, patches, stories and the batch command."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
import shapely

from crackmap.demo.batch import main
from crackmap.demo.edges import inside_distance, outline
from crackmap.demo.openings import find_nearest, gap_coverage
from crackmap.demo.pairs import turn_edges, turn_over, turn_void
from crackmap.demo.patches import random_patch
from crackmap.demo.random_scene import random_scene
from crackmap.demo.scene import CrackShape
from crackmap.demo.stories import STORIES
from crackmap.errors import SettingsError
from crackmap.records import frozen_array

TRUTH_KEYS = {
    "outline_mm",
    "outline_px",
    "voids",
    "cracks",
    "references",
    "camera",
    "H_mm_to_undistorted_px",
    "thickness_mm",
    "mm_per_px",
    "y_axis",
    "image_size",
    "apparent_silhouette_mm",
    "sound_knots_mm",
}
CRACK_KEYS = {
    "kind",
    "parent",
    "centreline_mm",
    "width_mm",
    "depth_mm",
    "visible",
    "through",
    "dust_fraction",
    "centreline_px",
    "width_px",
}


def test_unknown_wish_names_the_nearest() -> None:
    with pytest.raises(SettingsError, match="did you mean 'marker_size'"):
        random_scene(1, markersize=100)


@pytest.mark.parametrize("seed", range(12))
def test_random_scenes_make_sense(seed: int) -> None:
    scene = random_scene(seed)
    face = shapely.Polygon(outline(scene.edges))
    assert face.is_valid
    assert face.area == pytest.approx(scene.length * scene.width, rel=0.35)  # geometric, edges wander
    for void in scene.voids:
        assert shapely.Polygon(void.polygon).is_valid
        assert 0 < void.depth <= scene.thickness_mm
    for number, crack in enumerate(scene.cracks):
        assert len(crack.centreline) == len(crack.width) == len(crack.depth) == len(crack.dusty)
        assert (
            (crack.width > 0).all() and (crack.depth > 0).all() and (crack.depth <= scene.thickness_mm).all()
        )
        assert (crack.kind == "branch") == (crack.parent is not None)
        if crack.parent is not None:
            assert crack.parent < number
            stem = shapely.LineString(scene.cracks[crack.parent].centreline)
            assert stem.distance(shapely.Point(crack.centreline[0])) < 1.0  # [mm] a branch starts on its stem


def test_inside_distance_agrees_with_the_outline() -> None:
    scene = random_scene(5)
    face = shapely.Polygon(outline(scene.edges))
    rng = np.random.default_rng(0)
    x, y = rng.uniform(-30, scene.length + 30, 4000), rng.uniform(-0.6, 0.6, 4000) * scene.width
    ours = inside_distance(scene.edges, x.astype(np.float32), y.astype(np.float32))
    apart = shapely.distance(face.exterior, shapely.points(x, y))
    within = shapely.contains(face, shapely.points(x, y))
    clear = apart > 0.05  # [mm] the two interpolate the same vertices
    assert np.array_equal(ours[clear] > 0, within[clear])  # independent: shapely
    near = apart < 1.0
    assert np.median(np.abs(np.abs(ours[near]) - apart[near])) < 0.05  # independent: shapely [mm]


def test_nearest_on_a_straight_crack() -> None:
    line = frozen_array([[0, 0], [10, 0], [20, 0]])
    crack = CrackShape(
        "hairline", line, frozen_array([1, 2, 3]), frozen_array([5, 5, 5]), frozen_array([0, 0, 0])
    )
    near = find_nearest(crack, np.array([[5.0, -2.0], [15.0, 1.0], [-3.0, 0.5]]))
    assert near.across == pytest.approx([2.0, -1.0, -np.hypot(3, 0.5)])  # geometric; y down, so up is left
    assert near.width[:2] == pytest.approx([1.5, 2.5])  # geometric
    assert near.beyond.tolist() == [False, False, True]


@pytest.mark.parametrize("width", [0.05, 0.3, 1.7])
def test_gap_coverage_keeps_the_width(width: float) -> None:
    footprint = 0.25
    samples = np.arange(-4, 4, footprint) + 0.07
    cover = gap_coverage(samples, np.full(len(samples), width), footprint)
    assert cover.sum() * footprint == pytest.approx(width)  # geometric


def test_patch_masks_and_truth() -> None:
    patch = random_patch(104, size_px=96, near_crack=1.0, reference="marker", markers=1, end_checks=3)
    assert patch.pixels.shape == (96, 96, 3)
    for share in (patch.crack, patch.void, patch.face, patch.thing):
        assert share.shape == (96, 96) and share.min() >= 0 and share.max() <= 1
    assert patch.truth["mm_per_px"] > 0
    assert (patch.crack + patch.void + patch.thing <= 1.0 + 1e-5).all()


def test_stories_say_what_their_scenes_hold() -> None:
    assert set(STORIES) == {"bench", "table"}
    for story in STORIES.values():
        scene = story.at_size((300, 225))
        assert scene.look == story.wood and story.wood in story.words.lower()
        assert scene.marker_size_mm == story.scene.marker_size_mm is not None
        assert max(c.width.max() for c in scene.cracks) > 5  # [mm] something to hold together
        assert scene.camera.size_px == (300, 225)


def test_batch_writes_photos_with_truth(tmp_path: Path) -> None:
    main([str(tmp_path), "--count", "2", "--seed", "30", "--size", "200x150"])
    assert sorted(p.name for p in tmp_path.iterdir()) == ["030.jpg", "030.json", "031.jpg", "031.json"]
    truth = json.loads((tmp_path / "030.json").read_text())
    assert set(truth) >= TRUTH_KEYS
    assert truth["image_size"] == [200, 150]
    for crack in truth["cracks"]:
        assert set(crack) >= CRACK_KEYS
        assert len({len(crack[k]) for k in ("centreline_mm", "width_mm", "depth_mm", "visible")}) == 1


def test_turned_edges_turn_back() -> None:
    scene = random_scene(6, live_sides="both")
    back = turn_edges(turn_edges(scene.edges, scene.thickness_mm), scene.thickness_mm)
    for name in ("top", "bottom", "left", "right", "bevel_top", "bevel_bottom"):
        assert getattr(back, name) == pytest.approx(getattr(scene.edges, name))  # geometric: twice is nothing
    assert back.bark_top == scene.edges.bark_top


def test_turned_slab_shows_what_goes_through_and_nothing_else() -> None:
    scene = random_scene(12, widest=14.0, end_checks=4, knot_holes=2)
    under = turn_over(scene, 900)
    assert len(under.voids) == sum(v.through for v in scene.voids)
    reach = scene.thickness_mm * max(abs(c.lean) for c in scene.cracks) + 0.01
    above = shapely.MultiLineString([c.centreline for c in scene.cracks])
    for crack in under.cracks:
        assert (crack.depth == scene.thickness_mm).all()
        mirrored = shapely.points(crack.centreline * [1, -1])
        assert shapely.distance(above, mirrored).max() <= reach  # geometric: a crack leans by its lean
    for void in scene.voids:
        twice = turn_void(turn_void(void))
        assert twice.polygon == pytest.approx(void.polygon)  # geometric: twice is nothing
        low, high = void.polygon[:, 1].min(), void.polygon[:, 1].max()
        flipped = turn_void(void).polygon[:, 1]
        assert -high - 1e-6 <= flipped.min() and flipped.max() <= -low + 1e-6


def test_batch_writes_pairs(tmp_path: Path) -> None:
    main([str(tmp_path), "--count", "1", "--seed", "4", "--size", "160x120", "--pairs"])
    truth = json.loads((tmp_path / "P04_under.json").read_text())
    assert truth["face"] == "under" and truth["under_to_show"]["det"] == -1
    assert (tmp_path / "P04_show.jpg").exists()
