"""The rectified picture as tiles: each level half the size of the one before, made when first asked for."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable

import cv2

from crackmap.records import ImageArray

TILE = 512  # side [px]
QUALITY = 90  # of the JPEG tiles; grain and hairlines stay clear
MOST_KEPT_BYTES = 48_000_000  # of tiles made; the longest unused go first


def levels_of(width: int, height: int) -> int:
    """Levels of a picture: the last one fits a single tile."""
    levels = 1
    while max(width, height) > TILE:
        width, height, levels = _half(width), _half(height), levels + 1
    return levels


def _half(side: int) -> int:
    return max(1, (side + 1) // 2)


class Tiles:
    """Tiles of one picture; safe to ask from several threads.

    Parameters
    ----------
    picture : callable
        Gives the picture, RGB; called once, when the first tile is asked for.
    """

    def __init__(self, picture: Callable[[], ImageArray]) -> None:
        self._picture = picture
        self._levels: list[ImageArray] = []
        self._making = threading.Lock()
        self._kept: OrderedDict[tuple[int, int, int], bytes] = OrderedDict()
        self._kept_bytes = 0
        self._keeping = threading.Lock()

    def tile(self, level: int, x: int, y: int) -> bytes | None:
        """A tile as JPEG; None outside the picture."""
        if min(level, x, y) < 0 or level > 32:
            return None
        with self._keeping:
            if (level, x, y) in self._kept:
                self._kept.move_to_end((level, x, y))
                return self._kept[level, x, y]
        pixels = self._level(level)
        if pixels is None:
            return None
        part = pixels[y * TILE:(y + 1) * TILE, x * TILE:(x + 1) * TILE]
        if part.size == 0:
            return None
        _, jpeg = cv2.imencode(".jpg", cv2.cvtColor(part, cv2.COLOR_RGB2BGR), [cv2.IMWRITE_JPEG_QUALITY, QUALITY])
        content = jpeg.tobytes()
        self._keep((level, x, y), content)
        return content

    def _level(self, level: int) -> ImageArray | None:
        """The picture reduced by 2 to the `level`; None past the last level."""
        with self._making:
            if not self._levels:
                self._levels.append(self._picture())
            while len(self._levels) <= level:
                last = self._levels[-1]
                height, width = last.shape[:2]
                if max(width, height) <= TILE:
                    return None
                # An odd side's last pixel stands alone; repeated, halving stays exact.
                even = cv2.copyMakeBorder(last, 0, height % 2, 0, width % 2, cv2.BORDER_REPLICATE)
                self._levels.append(cv2.resize(even, (_half(width), _half(height)), interpolation=cv2.INTER_AREA))
            return self._levels[level]

    def _keep(self, name: tuple[int, int, int], content: bytes) -> None:
        with self._keeping:
            if name not in self._kept:
                self._kept[name] = content
                self._kept_bytes += len(content)
            while self._kept_bytes > MOST_KEPT_BYTES and len(self._kept) > 1:
                _, dropped = self._kept.popitem(last=False)
                self._kept_bytes -= len(dropped)
