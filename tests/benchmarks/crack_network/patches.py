"""Training pieces: the generator's patches, compressed as photos are, in many processes."""

from __future__ import annotations

import os
import time
from collections.abc import Iterator
from multiprocessing import get_context
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from crackmap.demo.patches import random_patch

SIZE_PX = 256
MASKS = ("crack", "void", "face", "thing")
# Share of the scenes with no crack at all: grain, pores, pencil and stains must teach by themselves.
_SOUND_SHARE = 0.33
_BARE_SHARE = 0.97  # of the pieces have no marker or sheet in them: those are costly and soon learned
_ODD_SHARE = 0.8
_FEATURE_SHARE = 0.5  # of the pieces without a crack lie at a knot, a void or the slab's edge
_BARE: dict[str, Any] = {"reference": "marker", "markers": 0, "props": ()}
_SOUND: dict[str, Any] = {"end_checks": 0, "surface_checks": 0, "hairlines": 0, "branches": 0, "split": False,
                          "ring_shakes": 0, "knot_checks": False}


def training_piece(seed: int) -> NDArray[np.uint8]:
    """One piece: R, G, B and the four masks in 0 to 255, shape (SIZE_PX, SIZE_PX, 7)."""
    rng = np.random.default_rng([seed, 31])
    wishes = dict(_SOUND) if rng.random() < _SOUND_SHARE else {}
    wishes |= _BARE if rng.random() < _BARE_SHARE else {}
    patch = random_patch(seed, SIZE_PX, near_crack=0.9, near_feature=_FEATURE_SHARE,
                         look_alikes=rng.random() < _ODD_SHARE, **wishes)
    pixels = np.asarray(patch.pixels)
    if rng.random() < 0.8:  # the rest stays uncompressed
        quality = int(rng.integers(50, 97))
        _, packed = cv2.imencode(".jpg", pixels[:, :, ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])
        pixels = np.asarray(cv2.imdecode(packed, cv2.IMREAD_COLOR))[:, :, ::-1]
    masks = [np.rint(255 * np.clip(getattr(patch, name), 0, 1)).astype(np.uint8) for name in MASKS]
    return np.dstack([pixels, *masks])


def _piece_or_none(seed: int) -> NDArray[np.uint8] | None:
    cv2.setNumThreads(1)
    try:
        return training_piece(seed)
    except Exception as problem:  # one odd scene among tens of thousands must not end the run
        print(f"seed {seed}: {type(problem).__name__}: {problem}", flush=True)
        return None


def training_pieces(count: int, first_seed: int, seconds: float) -> Iterator[NDArray[np.uint8]]:
    """Up to `count` pieces, as many as come within `seconds`, made by all cores but two, which feed the fit."""
    ends = time.monotonic() + seconds
    with get_context("fork").Pool(max((os.cpu_count() or 1) - 2, 1)) as pool:
        for piece in pool.imap_unordered(_piece_or_none, range(first_seed, first_seed + count), chunksize=4):
            if piece is not None:
                yield piece
            if time.monotonic() > ends:
                pool.terminate()
                return
