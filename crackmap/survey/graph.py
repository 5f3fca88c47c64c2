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

from crackmap.survey.thinning import thinned

FloatArray = NDArray[np.float64]


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
    """Length of a polyline. [px] `points` has shape (N, 2)."""
    return float(np.hypot(*np.diff(points, axis=0).T).sum()) if len(points) > 1 else 0.0


def thin(
    mask: NDArray[np.uint8], strength: NDArray[np.uint8], high: int, smallest_px: int
) -> NDArray[np.uint8]:
    """Skeleton of the components of `mask` that reach `high` somewhere and span `smallest_px`.

    Pictures have shape (H, W).
    """
    _, labels, stats, _ = cv2.connectedComponentsWithStats(mask, connectivity=8, ltype=cv2.CV_32S)
    spans = np.maximum(stats[:, cv2.CC_STAT_WIDTH], stats[:, cv2.CC_STAT_HEIGHT])
    kept = np.zeros(mask.shape, np.uint8)
    for label in np.flatnonzero(spans >= smallest_px):
        if label == 0:
            continue
        x, y, w, h = stats[label, :4]
        window = (slice(y, y + h), slice(x, x + w))
        own = labels[window] == label
        if strength[window][own].max() >= high:
            kept[window][own] = 1
    return thinned(kept)


def branches_of(skeleton: NDArray[np.uint8]) -> list[Branch]:
    """The branches of a skeleton: chains of pixels from node to node, nodes being clusters of meeting pixels.

    `skeleton` has shape (H, W).
    """
    height, width = skeleton.shape
    rows, columns = np.nonzero(skeleton)
    pixels = (rows * (width + 2) + columns).astype(np.int64)  # a margin, so that no line goes on round the border
    if not len(pixels):
        return []
    first, second = _neighbours(pixels, width + 2)
    meets = np.bincount(np.r_[first, second], minlength=len(pixels)) > 2
    places = np.stack([columns, rows], 1).astype(float)
    centres, cluster = _clusters(places, first, second, meets)
    chains = _chains(first, second, meets)
    beside: dict[int, set[int]] = {}
    for one, other in ((first, second), (second, first)):
        for k in np.flatnonzero(meets[other] & ~meets[one]):
            beside.setdefault(int(one[k]), set()).add(int(cluster[other[k]]))
    branches, fresh = [], len(centres)
    for chain in chains:
        if len(chain) == 1:
            touched = sorted(beside.get(int(chain[0]), ()))[:2]
            start, end = (touched + [None, None])[:2]
        else:
            start, end = (min(beside.get(int(k), ()), default=None) for k in (chain[0], chain[-1]))
        head = places[:0] if start is None else centres[start : start + 1]
        tail = places[:0] if end is None else centres[end : end + 1]
        points = np.vstack([head, places[chain], tail])
        if len(points) > 1:
            branches.append(Branch(points, fresh if start is None else start, fresh + 1 if end is None else end))
        fresh += 2
    return branches


def _neighbours(pixels: NDArray[np.int64], width: int) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Pairs of indices into the sorted `pixels` that touch, corners included; each pair once."""
    first, second = [], []
    for step in (1, width - 1, width, width + 1):
        at = np.searchsorted(pixels, pixels + step)
        at[at == len(pixels)] = 0
        here = np.flatnonzero(pixels[at] == pixels + step)
        first.append(here)
        second.append(at[here])
    return np.concatenate(first), np.concatenate(second)


def _connected(first: NDArray[np.int64], second: NDArray[np.int64], count: int) -> tuple[int, NDArray[np.int64]]:
    """How many connected groups `count` things make, and the group of each, numbered in order of their first things."""
    lowest = np.arange(count)
    while True:
        least = np.minimum(lowest[first], lowest[second])
        new = lowest.copy()
        for known in (first, second, lowest[first], lowest[second]):
            np.minimum.at(new, known, least)
        new = new[new]
        if np.array_equal(new, lowest):
            break
        lowest = new
    roots, group = np.unique(lowest, return_inverse=True)
    return len(roots), group


def _clusters(
    places: FloatArray, first: NDArray[np.int64], second: NDArray[np.int64], meets: NDArray[np.bool_]
) -> tuple[FloatArray, NDArray[np.int64]]:
    """Centres (K, 2) of the clusters of meeting pixels, and each pixel's cluster (-1 for none)."""
    own = np.flatnonzero(meets)
    number = np.full(len(meets), -1, np.int64)
    if not len(own):
        return np.zeros((0, 2)), number
    both = meets[first] & meets[second]
    index = np.cumsum(meets) - 1
    count, labels = _connected(index[first[both]], index[second[both]], len(own))
    number[own] = labels
    size = np.bincount(labels, minlength=count)
    centres = np.stack([np.bincount(labels, places[own, k], count) / size for k in (0, 1)], 1)
    return centres, number


def _chains(first: NDArray[np.int64], second: NDArray[np.int64], meets: NDArray[np.bool_]) -> list[NDArray[np.int64]]:
    """The pixels between meetings in walking order, a list for each chain; a ring starts anywhere."""
    single = ~meets[first] & ~meets[second]
    one, other = np.r_[first[single], second[single]], np.r_[second[single], first[single]]
    order = np.argsort(one, kind="stable")
    one, other = one[order], other[order]
    beside = np.full((len(meets), 2), -1)  # a pixel between meetings touches two others at most
    beside[one, np.arange(len(one)) - np.searchsorted(one, one)] = other
    ends = np.flatnonzero(~meets & (beside[:, 1] < 0))
    links = beside.tolist()
    seen = meets.tolist()
    chains = []
    for start in [*ends.tolist(), *np.flatnonzero(~meets).tolist()]:  # rings have no end: they are left over
        if not seen[start]:
            chains.append(_walked(start, links, seen))
    return sorted(chains, key=lambda chain: int(chain.min()))


def _walked(start: int, links: list[list[int]], seen: list[bool]) -> NDArray[np.int64]:
    """The chain from `start` on, marked as seen."""
    chain = []
    here = start
    while here >= 0:
        seen[here] = True
        chain.append(here)
        here = next((k for k in links[here] if k >= 0 and not seen[k]), -1)
    return np.array(chain)


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
