"""Roughly where the slab lies: what is unlike the bench and like the wood, as one piece.

The bench is learnt along the picture's border, the wood round the markers that
lie on it (or in the middle); both as mixtures of Gaussians that know the same
material in shadow. The piece is found by a convex cut with a penalty on its
outline's length (Chan, Esedoglu & Nikolova, SIAM J. Appl. Math. 66, 2006;
primal-dual steps of Chambolle & Pock, J. Math. Imaging Vis. 40, 2011), and the
two materials are learnt again inside and outside it.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from crackmap.survey.edge_features import YARDSTICK
from crackmap.survey.edge_mixture import Mixture, Relit, fit_mixture
from crackmap.survey.light import FloatImage

BoolMask = NDArray[np.bool_]

_COMPONENTS = 5
_LEAST_WOOD = 0.3  # of the seeds that must be unlike the border's bench
_LEAST_CELLS = 40  # to learn a material from
_LEAST_BENCH = 0.15  # of the border band: with less bench in view there is no edge to find
_ROUNDS = 3
_BORDER_BAND = 0.045  # of the picture's shorter side, taken for bench at first [-]
# A shadow takes about 60 % of the light (ln 0.4 = -0.9), more or less; a slab
# under a lamp varies by a half to both sides. In log shade, then yardsticks.
_SHADOWED = Relit(-0.9 / YARDSTICK[0], 0.5 / YARDSTICK[0], 0.1)
_UNEVENLY_LIT = Relit(-0.2 / YARDSTICK[0], 0.6 / YARDSTICK[0], 0.2)
# Anything may lie in view that neither mixture has seen: spread evenly over
# this much of the features' space. Bright unknowns are rather on the slab
# (sapwood, paper), dark ones rather beside it (bark, deep shadow).
_UNKNOWN_LOG_DENSITY = -float(np.log([8.0, 10.0, 10.0, 6.0, 4.0, 4.0]).sum())
_DARK_STEP = 1.0  # ln: below 0.37 of the wood's median light
_DEEP_STEP = 1.6  # ln: a fifth of the darker wood's light is bark or deep shadow, whatever its tint
_UNDER = 2.6
_EVIDENCE_CAP = 1.5  # of one cell, so that a few odd cells cannot outvote their neighbours
_STIFFEST = 1.65  # cost of a cell's length of outline where nothing steps [-]
# An outline of less slack than this needs no second reading of the border; right ones of 48 generated photos have
# 0.15 to 0.20, wrong ones 0.7 and more. [-]
_TAUT = 0.4
_COARSE_STEPS, _FINE_STEPS, _STEPS_AGAIN = 100, 80, 50


@dataclass(frozen=True, slots=True, eq=False)
class RoughSlab:
    """The piece of slab on the grid of cells, the wood and bench learnt, and other pieces' areas."""

    mask: BoolMask
    wood: Mixture
    bench: Mixture
    other_pieces: tuple[int, ...]  # cells in other pieces that are as like wood
    log_odds: FloatImage  # of wood against bench, before the cut
    slack: float  # how little the outline keeps to steps of colour, 0.15 to 1.65 [-]


@dataclass(frozen=True, slots=True, eq=False)
class _Cut:
    """A cut as far as it has come: 1 inside and 0 outside, and the flow that holds it."""

    u: FloatImage
    px: FloatImage
    py: FloatImage


def rough_slab(features: FloatImage, seen: BoolMask, hidden: BoolMask, seeds: BoolMask) -> RoughSlab | None:
    """The slab as one filled piece of cells, or None where wood fills the view or nothing stands out.

    Parameters
    ----------
    features : ndarray of float32, shape (h, w, 6)
        From `cell_features`.
    seen, hidden, seeds : ndarray of bool, shape (h, w)
        Cells that the photo covers; that something lies on; that are surely wood.
    """
    inside = np.asarray(cv2.erode(seen.astype(np.uint8), np.ones((3, 3)), borderValue=0), bool)
    usable = inside & ~hidden
    depth = cv2.distanceTransform(np.pad(inside, 1).astype(np.uint8), cv2.DIST_L2, 3)[1:-1, 1:-1]
    wood_cells = usable & seeds
    border = usable & (depth < _BORDER_BAND * min(seen.shape))
    scene = _Scene(features, inside, hidden, _stiffness(features, hidden), _under_things(hidden, seeds))
    bench_cells = border & ~_like(features, wood_cells, border)
    found: RoughSlab | None = None
    if bench_cells.sum() >= _LEAST_BENCH * border.sum():
        found = _piece_of(scene, wood_cells, bench_cells)
        if found is not None and _slack(found.mask, scene, _STIFFEST) < _TAUT:
            return found
    # A marker at the slab's edge has bench round it too: leave out of the seeds what looks like the border.
    sure = wood_cells & ~_like(features, border, wood_cells)
    if sure.sum() < max(_LEAST_CELLS, _LEAST_WOOD * wood_cells.sum()):
        return found
    pieces = [piece for piece in (found, _piece_of(scene, sure, border)) if piece is not None]
    return min(pieces, key=lambda piece: _slack(piece.mask, scene, _STIFFEST), default=None)


@dataclass(frozen=True, slots=True, eq=False)
class _Scene:
    """What both readings of the border share, each on the grid of cells."""

    features: FloatImage
    inside: BoolMask
    hidden: BoolMask
    stiffness: FloatImage
    under: FloatImage


def _piece_of(scene: _Scene, wood_cells: BoolMask, bench_cells: BoolMask) -> RoughSlab | None:
    """The piece that grows from these first cells of wood and bench."""
    features, usable = scene.features, scene.inside & ~scene.hidden
    rough: RoughSlab | None = None
    cut: _Cut | None = None
    for turn in range(_ROUNDS):
        if min(wood_cells.sum(), bench_cells.sum()) < _LEAST_CELLS:
            break
        wood = fit_mixture(features[wood_cells], _COMPONENTS if turn else 3)
        bench = fit_mixture(features[bench_cells], _COMPONENTS)
        shade = float(np.median(features[..., 0][wood_cells]))
        odds = _log_odds(features, wood, bench, shade, first=turn < 2)
        if turn:
            usual = float(np.percentile(features[..., 0][wood_cells], 25))
            odds[features[..., 0] < usual - _DEEP_STEP / YARDSTICK[0]] = -np.inf
        evidence = np.clip(0.25 * odds, -_EVIDENCE_CAP, _EVIDENCE_CAP)
        evidence[scene.hidden] = scene.under[scene.hidden]
        evidence[~scene.inside] = -_EVIDENCE_CAP
        cut = _convex_cut(evidence, scene.stiffness, cut)
        piece, others = _main_piece(cut.u > 0.5, wood_cells)
        if not piece.any():
            break
        rough = RoughSlab(piece, wood, bench, others, odds, _slack(piece, scene))
        filled = piece.astype(np.uint8)
        wood_cells = usable & (cv2.erode(filled, np.ones((5, 5))) > 0)
        bench_cells = usable & (cv2.dilate(filled, np.ones((7, 7))) == 0)
    return rough


def _slack(piece: BoolMask, scene: _Scene, at_border: float = np.nan) -> float:
    """Mean stiffness along a piece's outline; `at_border` counts along the photo's border, nothing if not given. [-]"""
    outline = piece & (cv2.erode(piece.view(np.uint8), np.ones((3, 3)), borderValue=0) == 0) & ~scene.hidden
    nearest = cv2.erode(scene.stiffness, np.ones((3, 3)))
    nearest[cv2.erode(scene.inside.view(np.uint8), np.ones((5, 5)), borderValue=0) == 0] = at_border
    along = nearest[outline]
    along = along[np.isfinite(along)]
    return float(along.mean()) if len(along) else _STIFFEST


def _like(features: FloatImage, known: BoolMask, asked: BoolMask) -> BoolMask:
    """Which of the `asked` cells look just like the `known` ones: the slab may reach the picture's border."""
    out = np.zeros(known.shape, bool)
    if known.sum() < _LEAST_CELLS:
        return out
    mixture = fit_mixture(features[known], 3)
    usual = np.percentile(mixture.log_density(features[known]), 5)
    out[asked] = mixture.log_density(features[asked]) > usual
    return out


def _log_odds(features: FloatImage, wood: Mixture, bench: Mixture, wood_shade: float, first: bool) -> FloatImage:
    """Log odds of wood against bench for each cell. [-]"""
    darkness = (np.float32(wood_shade) - _DARK_STEP / YARDSTICK[0] - features[..., 0]) / (0.12 / YARDSTICK[0])
    dark = 1.0 / (1.0 + cv2.exp(-np.clip(darkness, -30, 30)))
    unknown_wood = (0.1 if first else 0.05) * (1.0 - dark) + 0.002
    unknown_bench = 0.02 + 0.6 * dark
    like_wood, like_bench = wood.log_density(features, _UNEVENLY_LIT), bench.log_density(features, _SHADOWED)
    unknown = np.float32(np.exp(_UNKNOWN_LOG_DENSITY))
    as_wood = cv2.exp(like_wood) + unknown * unknown_wood
    as_bench = cv2.exp(like_bench) + unknown * unknown_bench
    return np.asarray(cv2.log(as_wood / as_bench), np.float32)


def _under_things(hidden: BoolMask, seeds: BoolMask) -> FloatImage:
    """Evidence for wood under what lies on the slab. [-]

    Enough that an outline doesn't cut the corner under a marker to be shorter,
    too little for it to run round one that hangs over the edge: for a square of
    n cells across the first takes 2 / n a cell, the second 3.3 / n.
    """
    count, labels, stats, _ = cv2.connectedComponentsWithStats((hidden & seeds).view(np.uint8))
    share = _UNDER / np.sqrt(stats[:, cv2.CC_STAT_AREA].astype(np.float32))
    share[0] = 0.0
    return np.asarray(share[labels], np.float32)


def _stiffness(features: FloatImage, hidden: BoolMask) -> FloatImage:
    """Cost of outline in each cell: low where colour steps, but for the borders of things that lie there. [-]"""
    colour = cv2.GaussianBlur(features[..., :3], (0, 0), 0.7)
    gx = cv2.Sobel(colour, cv2.CV_32F, 1, 0, scale=0.125)
    gy = cv2.Sobel(colour, cv2.CV_32F, 0, 1, scale=0.125)
    step = np.sqrt((gx * gx + gy * gy).sum(axis=-1))
    step[cv2.dilate(hidden.view(np.uint8), np.ones((3, 3), np.uint8)) > 0] = 0.0
    return np.asarray((_STIFFEST - 0.15) * np.exp(-2.0 * step) + 0.15, np.float32)


def _convex_cut(evidence: FloatImage, stiffness: FloatImage, before: _Cut | None) -> _Cut:
    """u in [0, 1] that minimises  -<evidence, u> + sum(stiffness |grad u|), by primal-dual steps.

    Begun where the cut `before`, of much the same evidence, ended; else on a
    grid of half as many cells a side, where a step reaches twice as far.
    """
    if before is not None:
        return _primal_dual(before, evidence, stiffness, _STEPS_AGAIN)
    height, width = evidence.shape
    half = (max(width // 2, 1), max(height // 2, 1))
    # A cell of the half grid holds four cells' evidence and is passed by two cells' length of outline.
    coarse, coarse_stiffness = (
        cv2.resize(field, half, interpolation=cv2.INTER_AREA) * np.float32(weight)
        for field, weight in ((evidence, 4.0), (stiffness, 2.0))
    )
    start = _Cut((coarse > 0).astype(np.float32), np.zeros_like(coarse), np.zeros_like(coarse))
    rough = _primal_dual(start, coarse, coarse_stiffness, _COARSE_STEPS)
    # A flow over twice the length is carried by two cells.
    u, px, py = (cv2.resize(plane, (width, height)) for plane in (rough.u, rough.px / 2, rough.py / 2))
    return _primal_dual(_Cut(u, px, py), evidence, stiffness, _FINE_STEPS)


def _primal_dual(start: _Cut, evidence: FloatImage, stiffness: FloatImage, rounds: int) -> _Cut:
    """A cut moved on by so many steps."""
    u, px, py = start.u, start.px.copy(), start.py.copy()
    ahead = u.copy()
    loose = 1.0 / stiffness
    step = np.float32(0.35)  # step^2 * 8 < 1: the scheme's bound for the gradient on a grid
    for _ in range(rounds):
        px[:, :-1] += step * (ahead[:, 1:] - ahead[:, :-1])
        py[:-1] += step * (ahead[1:] - ahead[:-1])
        shrink = cv2.max(cv2.multiply(cv2.magnitude(px, py), loose), 1.0)
        px /= shrink
        py /= shrink
        divergence = px + py
        divergence += evidence
        divergence[:, 1:] -= px[:, :-1]
        divergence[1:] -= py[:-1]
        divergence *= step
        divergence += u
        new = cv2.min(cv2.max(divergence, 0.0), 1.0)
        ahead = new + (new - u)
        u = new
    return _Cut(u, px, py)


def _main_piece(mask: BoolMask, wood_cells: BoolMask) -> tuple[BoolMask, tuple[int, ...]]:
    """The piece that holds most of the known wood (else the largest), filled; and the other pieces' areas."""
    count, labels, stats, _ = cv2.connectedComponentsWithStats(mask.astype(np.uint8), connectivity=4)
    if count < 2:
        return np.zeros_like(mask), ()
    votes = np.bincount(labels[wood_cells], minlength=count)
    votes[0] = 0
    areas = stats[1:, cv2.CC_STAT_AREA]
    best = int(np.argmax(votes)) if votes.any() else 1 + int(np.argmax(areas))
    outlines, _ = cv2.findContours((labels == best).astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    filled = np.zeros(mask.shape, np.uint8)
    cv2.drawContours(filled, outlines, -1, 1, cv2.FILLED)
    others = tuple(int(a) for k, a in enumerate(areas, start=1) if k != best)
    return filled > 0, others
