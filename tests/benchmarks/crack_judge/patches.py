"""Pieces of the generator's photographs with known cracks, to fit the judge on.

The generator has walls, shadows and lenses that the flat pictures of
`judge_scenes` lack; what is mistaken for a crack is drawn on in addition.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from crackmap.demo.patches import Patch, random_patch
from crackmap.survey.judge_scene_marks import draw_marks
from crackmap.survey.judge_scenes import Scene

SIZE_PX = 640
SOUND_SHARE = 0.3  # scenes without a crack
SOUND: dict[str, Any] = {
    "end_checks": 0, "surface_checks": 0, "hairlines": 0, "branches": 0, "split": False, "ring_shakes": 0,
    "knot_checks": False,
}  # fmt: skip
MARKED_SHARE = 0.7


def patch_scene(seed: int, folder: Path | None = None) -> Scene:
    """One piece of a photograph; rendered once and kept in `folder`, if there is one."""
    file = None if folder is None else folder / f"{seed}.npz"
    if file is not None and file.exists():
        scene = _read(file)
    else:
        scene = _rendered(seed)
        if file is not None:
            _write(file, scene)
    return _marked(scene, np.random.default_rng([seed, 5]))


def _rendered(seed: int) -> Scene:
    rng = np.random.default_rng([seed, 77])
    wishes = SOUND if rng.random() < SOUND_SHARE else {}
    patch = random_patch(seed, SIZE_PX, near_crack=0.6, **wishes)
    quality = int(rng.integers(60, 97))
    _, packed = cv2.imencode(".jpg", patch.pixels[:, :, ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])
    image = np.ascontiguousarray(np.asarray(cv2.imdecode(packed, cv2.IMREAD_COLOR))[:, :, ::-1])
    wood = (patch.face > 0.5) & (patch.void < 0.3) & (patch.thing < 0.02)
    return Scene(image, wood, patch.mm_per_px, _lines(patch))


def _lines(patch: Patch) -> list[tuple[NDArray[np.float64], NDArray[np.float64]]]:
    """Cracks in view; where a thing covers one its width is nought."""
    lines = []
    for crack in patch.truth["cracks"]:
        points = np.array(crack["centreline_px"], float)
        if ((points > -20) & (points < SIZE_PX + 20)).all(1).any():
            lines.append((points, np.array(crack["width_mm"], float) / patch.mm_per_px * np.array(crack["visible"])))
    return lines


def _marked(scene: Scene, rng: np.random.Generator) -> Scene:
    """The scene with pencil, zone lines and stains drawn on it, more often than not."""
    if rng.random() > MARKED_SHARE:
        return scene
    light = (scene.image.astype(np.float32) / 255.0) ** 2.2
    draw_marks(rng, light, scene.mm_per_px)
    image = (np.clip(light, 0, 1) ** (1 / 2.2) * 255 + 0.5).astype(np.uint8)
    return Scene(image, scene.wood, scene.mm_per_px, scene.lines)


def _write(file: Path, scene: Scene) -> None:
    cracks: dict[str, Any] = {
        f"{key}{k}": array for k, line in enumerate(scene.lines) for key, array in zip("pw", line, strict=True)
    }
    _, packed = cv2.imencode(".png", scene.image[:, :, ::-1])
    np.savez(file, jpg=packed, wood=np.packbits(scene.wood), mm=scene.mm_per_px, n=len(scene.lines), **cracks)


def _read(file: Path) -> Scene:
    stored = np.load(file)
    image = np.ascontiguousarray(np.asarray(cv2.imdecode(stored["jpg"], cv2.IMREAD_COLOR))[:, :, ::-1])
    wood = np.unpackbits(stored["wood"])[: image.shape[0] * image.shape[1]].reshape(image.shape[:2]).astype(bool)
    lines = [(stored[f"p{k}"], stored[f"w{k}"]) for k in range(int(stored["n"]))]
    return Scene(image, wood, float(stored["mm"]), lines)
