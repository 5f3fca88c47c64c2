"""From a strength map to a graph of thin lines.

Terminology (after graph theory and image analysis)
---------------------------------------------------
skeleton  the one-pixel-wide raster left by thinning.
node      a place where a line ends or lines meet.
branch    the line between two nodes; its first and last point are the nodes'.
spur      a short branch with a loose end, made by the roughness of a wide
          crack's lips and not by a crack.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from skimage.morphology import skeletonize

FloatArray = NDArray[np.float64]
RING = np.array([[1, 1, 1], [1, 0, 1], [1, 1, 1]], np.float32)  # counts a pixel's neighbours


@dataclass(frozen=True, slots=True, eq=False)
class Branch:
    """A line between two nodes.

    Parameters
    ----------
    points : ndarray, shape (N, 2)
        (x, y), one a pixel; the first and last are the nodes' positions. [px]
    start, end : int
        Node numbers. A closed ring without a node starts and ends at one node.
    """

    points: FloatArray
    start: int
    end: int

    @property
    def length(self) -> float:
        """Length along the points. [px]"""
        return path_length(self.points)

    def turned(self) -> Branch:
        """The same branch from its other end."""
        return Branch(self.points[::-1], self.end, self.start)


def path_length(points: FloatArray) -> float:
    """Length of a polyline. [px]"""
    return float(np.hypot(*np.diff(points, axis=0).T).sum()) if len(points) > 1 else 0.0


def thin(
    mask: NDArray[np.uint8], strength: NDArray[np.uint8], high: int, smallest_px: int
) -> NDArray[np.uint8]:
    """Skeleton of the components of `mask` that reach `high` somewhere and span `smallest_px`."""
    count, labels, stats, _ = cv2.connectedComponentsWithStats(mask, connectivity=8, ltype=cv2.CV_32S)
    skeleton = np.zeros(mask.shape, np.uint8)
    spans = np.maximum(stats[:, cv2.CC_STAT_WIDTH], stats[:, cv2.CC_STAT_HEIGHT])
    for label in np.flatnonzero(spans >= smallest_px):
        if label == 0:
            continue
        x, y, w, h = stats[label, :4]
        window = (slice(y, y + h), slice(x, x + w))
        own = labels[window] == label
        if strength[window][own].max() < high:
            continue
        skeleton[window][skeletonize(np.pad(own, 1))[1:-1, 1:-1]] = 1
    return skeleton


def branches_of(skeleton: NDArray[np.uint8]) -> list[Branch]:
    """The branches of a skeleton, by following its pixels from node to node."""
    padded = np.pad(skeleton, 1)
    neighbours = cv2.filter2D(padded, cv2.CV_8U, RING)
    on = padded > 0
    meeting = (on & (neighbours > 2)).astype(np.uint8)
    _, clusters, _, centres = cv2.connectedComponentsWithStats(meeting, connectivity=8)
    width = padded.shape[1]
    steps = (-1, 1, -width, width, -width - 1, -width + 1, width - 1, width + 1)
    single = on & (meeting == 0)
    left = set(np.flatnonzero(single).tolist())
    near = np.flatnonzero(single & (cv2.dilate(meeting, np.ones((3, 3), np.uint8)) > 0)).tolist()
    flat = clusters.ravel()
    beside = {k: sorted({int(flat[k + s]) for s in steps} - {0}) for k in near}
    walker = _Walker(left, beside, centres - 1.0, width, steps)
    ends = np.flatnonzero(single & (neighbours <= 1)).tolist()
    branches = [walker.follow(k) for k in ends + near if k in left]
    branches += [walker.follow(k) for k in sorted(left) if k in left]  # what is left are rings
    return [branch for branch in branches if len(branch.points) > 1]


class _Walker:
    """Follows skeleton pixels, taking each away as it goes."""

    def __init__(
        self,
        left: set[int],
        beside: dict[int, list[int]],
        centres: FloatArray,
        width: int,
        steps: tuple[int, ...],
    ) -> None:
        self.left, self.beside, self.centres = left, beside, centres
        self.width, self.steps = width, steps
        self.next_node = len(centres)

    def follow(self, first: int) -> Branch:
        """The branch that starts at pixel `first`, an end or beside a meeting."""
        pixels = [first]
        self.left.discard(first)
        start = self._meeting_beside(first)
        end = None
        here = first
        while True:
            onward = None
            for step in self.steps:
                if here + step in self.left:
                    onward = here + step
                    break
            if onward is None:
                end = self._meeting_beside(here, start if len(pixels) < 3 else None)
                break
            pixels.append(onward)
            self.left.discard(onward)
            here = onward
            if len(pixels) > 2 and here in self.beside:
                end = self._meeting_beside(here)
                break
        index = np.array(pixels)
        points = np.stack([index % self.width - 1.0, index // self.width - 1.0], 1)
        return self._joined(points, start, end)

    def _meeting_beside(self, pixel: int, other_than: int | None = None) -> int | None:
        for cluster in self.beside.get(pixel, []):
            if cluster != other_than:
                return cluster
        return None

    def _joined(self, points: FloatArray, start: int | None, end: int | None) -> Branch:
        nodes = []
        for node in (start, end):
            if node is None:
                nodes.append(self.next_node)
                self.next_node += 1
            else:
                nodes.append(node)
        head = [self.centres[start]] if start is not None else []
        tail = [self.centres[end]] if end is not None else []
        return Branch(np.vstack([*head, points, *tail]), nodes[0], nodes[1])


def degrees(branches: list[Branch]) -> dict[int, int]:
    """How many branch ends meet at each node."""
    count: dict[int, int] = {}
    for branch in branches:
        for node in (branch.start, branch.end):
            count[node] = count.get(node, 0) + 1
    return count


def prune_spurs(branches: list[Branch], shortest: dict[int, float]) -> list[Branch]:
    """Without the loose-ended branches shorter than `shortest`, shortest first; through-lines are merged.

    `shortest` is by node, for a wide crack's roughness makes longer spurs. [px]
    """
    while True:
        count = degrees(branches)

        def is_spur(branch: Branch, count: dict[int, int] = count) -> bool:
            meets = [node for node in (branch.start, branch.end) if count[node] > 1]
            if len(meets) != 1 or branch.start == branch.end:
                return False
            return branch.length < shortest.get(meets[0], 0.0)

        spurs = [k for k, branch in enumerate(branches) if is_spur(branch)]
        if not spurs:
            return merge_through(branches)
        # At one node only the shortest goes in one round, so that a forked tip keeps its longer side.
        gone: set[int] = set()
        touched: set[int] = set()
        for k in sorted(spurs, key=lambda k: branches[k].length):
            node = branches[k].start if count[branches[k].start] > 1 else branches[k].end
            if node not in touched:
                touched.add(node)
                gone.add(k)
        branches = merge_through([branch for k, branch in enumerate(branches) if k not in gone])


def merge_through(branches: list[Branch]) -> list[Branch]:
    """Branches joined where exactly two ends meet."""
    alive = dict(enumerate(branches))
    at: dict[int, list[int]] = {}
    for key, branch in alive.items():
        at.setdefault(branch.start, []).append(key)
        at.setdefault(branch.end, []).append(key)
    fresh = len(branches)
    for node in list(at):
        keys = at[node]
        if len(keys) != 2 or keys[0] == keys[1]:
            continue
        first, second = alive.pop(keys[0]), alive.pop(keys[1])
        if first.end != node:
            first = first.turned()
        if second.start != node:
            second = second.turned()
        alive[fresh] = Branch(np.vstack([first.points, second.points[1:]]), first.start, second.end)
        for end_node, old in ((first.start, keys[0]), (second.end, keys[1])):
            at[end_node][at[end_node].index(old)] = fresh
        at[node] = []
        fresh += 1
    return list(alive.values())
