"""What is best, as a sum of costs counted in keys; lower is better.

Terminology
-----------
Demand  how strongly a piece of crack asks to be held: its length over the
        stretch that is worth one key, which shrinks as the crack widens.
Load    demand summed along a stretch that no key covers.
Price   what a key costs by itself: one, and a little for wood, for a length
        that isn't the one wanted, for an angle, for a crack off its waist.

A plan's cost is the prices of its keys plus, for each line, the squared loads
of its stretches. With equal demand n keys at equal stretches are best, and n
grows until one more key saves less than it costs; the squares spread keys
evenly, wide crack more densely than narrow. An open end counts as half a
stretch because nothing holds beyond it.
"""

from __future__ import annotations

import numpy as np

from crackmap.keys.family import needed_reach
from crackmap.placement.crack_lines import CrackLine
from crackmap.placement.crossings import Crossings
from crackmap.placement.pockets import Pockets
from crackmap.placement.site import Site
from crackmap.records import FloatArray
from crackmap.settings import PlacementSettings
from crackmap.shop import KeyChoice

# Widths are means so far to either side: over less, the photo's noise decides for a size and moves its key. [mm]
ABOUT = 30.0
_SIZE_STEP = 10 ** (1 / 10)  # ratio of neighbouring preferred lengths: one size up or down [-]


def cumulative_demand(line: CrackLine, site: Site, settings: PlacementSettings) -> FloatArray:
    """Demand from the line's start to each of its points, shape (N,). [-]

    Wood that will be trimmed off asks for nothing, nor does a thread thinner
    than what glue closes.
    """
    narrower = settings.stretch_width / np.maximum(line.width, 1e-6)
    stretch = settings.stretch * narrower**settings.stretch_power
    density = 1.0 / np.clip(stretch, settings.least_stretch, settings.most_stretch)
    density = np.where(line.width > settings.harmless_width, density, 0.0)
    density = np.where(site.is_on_top(line.points), density, 0.0)
    pieces = (density[1:] + density[:-1]) / 2.0 * np.diff(line.arc)
    return np.concatenate([[0.0], np.cumsum(pieces)])


def end_weights(line: CrackLine, settings: PlacementSettings) -> tuple[float, float]:
    """Weights of the first and last stretch's squared load."""
    weights = {"edge": settings.open_end_weight, "border": settings.open_end_weight,
               "void": settings.void_end_weight, "junction": settings.junction_weight}
    first, last = (weights.get(kind, settings.tip_weight) for kind in line.ends)
    return first, last


def wanted_length(bridged: FloatArray, opened: FloatArray, choice: KeyChoice,
                  settings: PlacementSettings) -> FloatArray:
    """Length of key that a place asks for: both wings' reach and what lies between. [mm]

    Both arrays have shape (N,).

    Parameters
    ----------
    bridged : ndarray
        Between the outermost lips. [mm]
    opened : ndarray
        Widths of the cracks alone, summed: they, and not the wood between
        them, say how hard the slab pulls. [mm]
    """
    reach = needed_reach(opened, choice)  # type: ignore[arg-type]
    return np.asarray(bridged + 2.0 * settings.wished_reach * reach)


def opened_width(crossings: Crossings, site: Site) -> FloatArray:
    """Summed width of the cracks that each pocket bridges, shape (N,). [mm]"""
    total = np.zeros(crossings.held.shape[0])
    for n, line in enumerate(site.lines):
        rows = np.flatnonzero(crossings.held[:, n])
        total[rows] += line.width_about(crossings.arc[rows, n], ABOUT)
    return total


def wing_reach(pockets: Pockets, crossings: Crossings, site: Site) -> FloatArray:
    """Length of each pocket's shorter wing past the outermost lip, shape (N,). [mm]"""
    longest = np.zeros(len(pockets))
    for n, line in enumerate(site.lines):
        rows = np.flatnonzero(crossings.held[:, n])
        lip = np.abs(crossings.offset[rows, n]) + line.width_at(crossings.arc[rows, n]) / 2.0
        longest[rows] = np.maximum(longest[rows], lip)
    return np.asarray(pockets.of_kind("half_length") - longest)


def prices(pockets: Pockets, crossings: Crossings, site: Site, choice: KeyChoice,
           settings: PlacementSettings) -> FloatArray:
    """Price of each pocket, shape (N,). [-]"""
    length = np.array([c.size.length for c in pockets.cuttings])[pockets.kind]
    wood = np.array([c.size.length * c.size.width * c.size.depth for c in pockets.cuttings])
    wanted = wanted_length(bridged_width(crossings, site), opened_width(crossings, site), choice, settings)
    short = (wanted - length) / wanted
    fit = settings.size_weight * short**2 * np.where(short > 0.0, 2.0, 1.0)
    off_waist = np.nanmax(np.where(crossings.held, np.abs(crossings.offset), 0.0), axis=1, initial=0.0)
    offset = settings.offset_weight * (off_waist / pockets.of_kind("middle")) ** 2
    # What no eye sees is noise of the crack's own direction, and is not to move a key.
    off_grain, off_line = (np.maximum(off - settings.angle_free, 0.0) for off in
                           (90.0 - angle_to_grain(pockets.angle_deg, site.grain_deg),
                            off_square(pockets, crossings, site)))
    angle = (off_grain**2 + off_line**2) / settings.angle_scale**2
    return np.asarray(1.0 + settings.wood_weight * wood[pockets.kind] / wood.max() + fit + offset
                      + settings.angle_weight * angle)


def bridged_width(crossings: Crossings, site: Site) -> FloatArray:
    """Width between the outermost lips that each pocket bridges, shape (N,). [mm]"""
    low, high = np.full(crossings.held.shape[0], np.inf), np.full(crossings.held.shape[0], -np.inf)
    for n, line in enumerate(site.lines):
        rows = np.flatnonzero(crossings.held[:, n])
        half = line.width_about(crossings.arc[rows, n], ABOUT) / 2.0
        low[rows] = np.minimum(low[rows], crossings.offset[rows, n] - half)
        high[rows] = np.maximum(high[rows], crossings.offset[rows, n] + half)
    return np.where(np.isfinite(low), high - low, 0.0)


def off_square(pockets: Pockets, crossings: Crossings, site: Site) -> FloatArray:
    """Largest angle between each pocket and the square to a line that it holds, shape (N,). [deg]"""
    worst = np.zeros(len(pockets))
    for n, line in enumerate(site.lines):
        rows = np.flatnonzero(crossings.held[:, n])
        if len(rows):
            _, direction = line.frames(crossings.arc[rows, n], float(pockets.of_kind("half_width").max()))
            worst[rows] = np.maximum(worst[rows], 90.0 - angle_to_grain(pockets.angle_deg[rows], direction))
    return worst


def angle_to_grain(angle_deg: FloatArray, grain_deg: FloatArray | float) -> FloatArray:
    """Angle between directions and the grain (or any line), 0 to 90. [deg] Any one shape."""
    return np.asarray(np.abs((angle_deg - grain_deg + 90.0) % 180.0 - 90.0))


def grading_cost(length: FloatArray, graded: bool, settings: PlacementSettings) -> FloatArray:
    """Cost of each key (rows) being followed toward the line's end by each other (columns). [-]

    Parameters
    ----------
    length : ndarray, shape (N,)
        Of the keys. [mm]
    graded : bool
        True where the line has an open end, so that sizes should fall from it.

    Returns
    -------
    cost : ndarray, shape (N, N)
    """
    fall = np.log(length[:, None] / length[None, :]) / np.log(_SIZE_STEP)
    jump = settings.jump_weight * np.maximum(np.abs(fall) - 1.0, 0.0) ** 2
    return np.asarray(jump + (settings.grading_weight * np.maximum(-fall, 0.0) if graded else 0.0))


def is_graded(line: CrackLine) -> bool:
    """True where one end is open and the other isn't."""
    return line.ends[0] != "tip" and line.ends[1] == "tip"
