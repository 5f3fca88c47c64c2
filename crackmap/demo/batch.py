"""Write a folder of invented slab photographs with their truth.

python -m crackmap.demo.batch OUT --count N --seed S [--size 3000x2250] [--clean] [--pairs]
    [--sound [--look-alikes]]
"""

from __future__ import annotations

import argparse
import dataclasses
import json
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from crackmap.demo.look_alikes import with_look_alikes
from crackmap.demo.pairs import render_pair
from crackmap.demo.random_scene import random_scene
from crackmap.demo.render import render
from crackmap.demo.scene import PaintedLine, SlabScene

SOUND: dict[str, Any] = {
    "end_checks": 0, "surface_checks": 0, "hairlines": 0, "branches": 0, "split": False, "ring_shakes": 0,
    "knot_checks": False,
}  # fmt: skip
_PLACES = 3  # along a slab, round which look-alikes are strewn


def covered_with_look_alikes(scene: SlabScene) -> SlabScene:
    """The scene with what resembles a crack and is none, all over the slab."""
    harder = scene
    lines: list[PaintedLine] = []
    for k in range(_PLACES):
        centre = np.array([(k + 0.5) * scene.length / _PLACES, 0.0])
        harder = with_look_alikes(harder, centre, 0.5 * scene.length / _PLACES, _PLACES * scene.seed + k)
        lines += harder.lines
    return dataclasses.replace(harder, lines=tuple(lines))


def write_photo(scene: SlabScene, folder: Path, oversampling: int = 2) -> tuple[Path, dict[str, Any]]:
    """Render a scene to NAME.jpg and NAME.json in `folder`; returns the photo's path and the truth."""
    photo, truth = render(scene, oversampling)
    return save_photo(scene, photo, truth, folder), truth


def save_photo(scene: SlabScene, photo: NDArray[np.uint8], truth: dict[str, Any], folder: Path) -> Path:
    """Write a rendered photo and its truth; returns the photo's path. `photo` has shape (H, W, 3)."""
    path = folder / f"{scene.name}.jpg"
    quality = [cv2.IMWRITE_JPEG_QUALITY, scene.exposure.jpeg_quality]
    ok, coded = cv2.imencode(".jpg", cv2.cvtColor(photo, cv2.COLOR_RGB2BGR), quality)
    assert ok
    path.write_bytes(coded.tobytes())
    path.with_suffix(".json").write_text(json.dumps(truth))
    return path


def _size(text: str) -> tuple[int, int]:
    width, _, height = text.lower().partition("x")
    return int(width), int(height)


def _report(path: Path, truth: dict[str, Any]) -> None:
    print(
        f"{path}  {truth['species_look']}, {truth['background']}, {truth['lighting']}, "
        f"{len(truth['cracks'])} cracks, {truth['mm_per_px']:.3f} mm/px",
        flush=True,
    )


def main(arguments: list[str] | None = None) -> None:
    """Command line."""
    parser = argparse.ArgumentParser(
        prog="python -m crackmap.demo.batch", description=__doc__.splitlines()[0]
    )
    parser.add_argument("out", type=Path, help="folder for NNN.jpg and NNN.json")
    parser.add_argument("--count", type=int, default=10)
    parser.add_argument("--seed", type=int, default=1, help="of the first photo; the others count on from it")
    parser.add_argument(
        "--size", type=_size, default=(3000, 2250), help="picture size in pixels, such as 1500x1125"
    )
    parser.add_argument("--clean", action="store_true", help="no noise, blur or vignette")
    parser.add_argument(
        "--pairs", action="store_true", help="both faces of each slab: PNN_show and PNN_under"
    )
    parser.add_argument("--sound", action="store_true", help="slabs without a crack")
    parser.add_argument("--look-alikes", action="store_true", help="with much on them that resembles a crack")
    chosen = parser.parse_args(arguments)
    wishes = SOUND if chosen.sound else {}
    chosen.out.mkdir(parents=True, exist_ok=True)
    for seed in range(chosen.seed, chosen.seed + chosen.count):
        if chosen.pairs:
            for scene, photo, truth in render_pair(seed, size_px=chosen.size, clean=chosen.clean):
                _report(save_photo(scene, photo, truth, chosen.out), truth)
            continue
        scene = random_scene(seed, size_px=chosen.size, clean=chosen.clean, **wishes)
        if chosen.look_alikes:
            scene = covered_with_look_alikes(scene)
        path, truth = write_photo(scene, chosen.out)
        _report(path, truth)


if __name__ == "__main__":
    main()
