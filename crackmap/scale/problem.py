"""The joint least-squares problem: what is unknown, what was seen, what is known beforehand.

Unknowns, in this order
-----------------------
camera   rotation vector (3) from an untilted camera; where the centre of the
         target that holds the frame is seen, u, v [px], and its distance along
         the optical axis [mm]; where the lens is not given: log of the focal
         length over its prior, k1
print    log of the true size of the targets over the size given; log of their
         width over their height, over that given: printers stretch one way
target   for each target: bloom [px] and height beyond the one given [mm]
place    for each target but one: where its centre is seen, u, v [px], and its
         turn on the show face [rad]

The target without a place holds the frame: its centre is the origin and its
bottom edge the x direction. Places are unknown in the photo, not on the slab,
and tilt and distance grow with the focal length: a change of camera then leaves
every target where it is seen, and the long curved valley between height, focal
length and tilt, in which a fit creeps, becomes nearly straight.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from crackmap.scale.camera import Camera, Lens, rotation_from_vector
from crackmap.scale.target import FloatArray, Target


@dataclass(frozen=True, slots=True)
class Priors:
    """What is known before the photo is looked at; one-sigma figures."""

    focal_px: float
    focal_sigma: float  # of the log of the focal length [-]
    k1_sigma: float  # [-]
    print_sigma: float  # of the log of the targets' size [-]
    stretch_sigma: float  # of the log of their width over height [-]
    height_sigma: float  # of each target's height: paper, curl [mm]
    tilt_sigma: float  # sine of the tilt of a photo taken from above [-]


@dataclass(frozen=True, slots=True)
class TapedDistance:
    """A distance between two targets' centres, by their places in the list. [mm]"""

    first: int
    second: int
    distance: float
    sigma: float


_TINY = 1e-6  # stands for "known exactly" where a sigma of zero would divide


@dataclass(frozen=True, slots=True, eq=False)
class Problem:
    """Residuals and their derivatives; see the module's text."""

    targets: tuple[Target, ...]
    priors: Priors
    width: int
    height: int
    lens: Lens | None  # None: focal length and k1 are unknowns
    distances: tuple[TapedDistance, ...]
    held: int  # index of the target that holds the frame
    base: FloatArray  # (3, 3) rotation of an untilted camera, that the rotation vector starts from

    @property
    def camera_size(self) -> int:
        """How many unknowns the camera has."""
        return 6 if self.lens is not None else 8

    @property
    def target_start(self) -> int:
        """Index of the first target's bloom."""
        return self.camera_size + 2

    @property
    def place_start(self) -> int:
        """Index of the first place's x."""
        return self.target_start + 2 * len(self.targets)

    @property
    def size(self) -> int:
        """How many unknowns there are."""
        return self.target_start + 5 * len(self.targets) - 3

    def with_base(self, base: FloatArray) -> Problem:
        """The same problem about another rotation."""
        return replace(self, base=base)

    def camera(self, unknowns: FloatArray) -> Camera:
        """The camera that `unknowns` describe."""
        lens, longer = self.lens, 1.0
        if lens is None:
            longer = float(np.exp(unknowns[6]))
            lens = Lens.central(self.priors.focal_px * longer, float(unknowns[7]), self.width, self.height)
        rotation = rotation_from_vector(unknowns[:3] * [longer, longer, 1.0]) @ self.base
        centre = np.append(lens.to_rays(unknowns[None, 3:5])[0], 1.0) * unknowns[5] * longer
        return Camera(lens, rotation, centre - rotation[:, 2] * self.targets[self.held].height)

    def places(self, unknowns: FloatArray) -> FloatArray:
        """Each target's x, y [mm] and turn [rad], shape (n, 3)."""
        return self.places_under(self.camera(unknowns), self.bloom_and_height(unknowns), self.seen_at(unknowns))

    def seen_at(self, unknowns: FloatArray) -> FloatArray:
        """Where each target's centre is seen, u, v [px], and its turn [rad], shape (n, 3); zeros for the held one."""
        seen = np.zeros((len(self.targets), 3))
        seen[np.arange(len(seen)) != self.held] = unknowns[self.place_start:].reshape(-1, 3)
        return seen

    def places_under(self, camera: Camera, own: FloatArray, seen: FloatArray) -> FloatArray:
        """Places on the slab of targets seen at `seen` by `camera`, shape (n, 3)."""
        heights = np.array([t.height for t in self.targets]) + own[:, 1]
        places = seen.copy()
        places[:, :2] = camera.meet_height(seen[:, :2], heights)
        places[self.held] = 0.0
        return places

    def print_stretch(self, unknowns: FloatArray) -> FloatArray:
        """Factors from the targets' sizes given to the true ones: across and up the print, shape (2,)."""
        size, stretch = unknowns[self.camera_size:self.target_start]
        return np.exp([size + stretch / 2, size - stretch / 2])

    def bloom_and_height(self, unknowns: FloatArray) -> FloatArray:
        """Each target's bloom [px] and height beyond the one given [mm], shape (n, 2)."""
        return unknowns[self.target_start:self.place_start].reshape(-1, 2)

    def pack(self, camera: FloatArray, seen: FloatArray) -> FloatArray:
        """Unknowns with the given camera part and targets seen at `seen`, all else zero."""
        others = np.delete(seen, self.held, axis=0)
        return np.concatenate([camera, np.zeros(2 + 2 * len(self.targets)), others.ravel()])


@dataclass(frozen=True, slots=True, eq=False)
class Stacked:
    """All edge points in one set of arrays; E of them."""

    owner: np.ndarray[tuple[int], np.dtype[np.intp]]  # (E,) index of the target
    points: FloatArray  # (E, 2)
    pixels: FloatArray  # (E, 2)
    normals: FloatArray  # (E, 2)
    sigmas: FloatArray  # (E,)
    heights: FloatArray  # (n,) given heights


def stack(targets: tuple[Target, ...]) -> Stacked:
    """Edge points of all targets, one after the other."""
    owner = np.concatenate([np.full(len(t.points), i) for i, t in enumerate(targets)]).astype(np.intp)
    points, pixels, normals, sigmas = (np.concatenate([getattr(t, name) for t in targets])
                                       for name in ("points", "pixels", "normals", "sigmas"))
    return Stacked(owner, points, pixels, normals, sigmas, np.array([t.height for t in targets]))


def edge_misfits(problem: Problem, stacked: Stacked, unknowns: FloatArray) -> FloatArray:
    """Misfit of each edge point over its sigma, shape (E,)."""
    own, places = problem.bloom_and_height(unknowns), problem.places(unknowns)
    return _edge_misfits(stacked, problem.camera(unknowns), problem.print_stretch(unknowns), own, places)


def _edge_misfits(stacked: Stacked, camera: Camera, stretch: FloatArray, own: FloatArray, places: FloatArray
                  ) -> FloatArray:
    turn = places[stacked.owner, 2]
    x, y = (stacked.points * stretch).T
    cos, sin = np.cos(turn), np.sin(turn)
    space = np.stack([places[stacked.owner, 0] + cos * x - sin * y, places[stacked.owner, 1] + sin * x + cos * y,
                      (stacked.heights + own[:, 1])[stacked.owner]], axis=1)
    across = ((stacked.pixels - camera.see(space)) * stacked.normals).sum(axis=1)
    return np.asarray((across - own[stacked.owner, 0]) / stacked.sigmas)


def prior_misfits(problem: Problem, unknowns: FloatArray) -> FloatArray:
    """Misfits of what was known beforehand, each over its sigma. `unknowns` has shape (U,)."""
    p = problem.priors
    camera, own = problem.camera(unknowns), problem.bloom_and_height(unknowns)
    places = problem.places_under(camera, own, problem.seen_at(unknowns)) if problem.distances else own
    bloom_sigmas = np.array([t.bloom_sigma for t in problem.targets])
    lens = [] if problem.lens is not None else [unknowns[6] / max(p.focal_sigma, _TINY),
                                                unknowns[7] / max(p.k1_sigma, _TINY)]
    size, stretch = unknowns[problem.camera_size:problem.target_start]
    prints = [size / max(p.print_sigma, _TINY), stretch / max(p.stretch_sigma, _TINY)]
    taped = [(np.hypot(*(places[d.first, :2] - places[d.second, :2])) - d.distance) / d.sigma
             for d in problem.distances]
    return np.concatenate([
        camera.rotation[2, :2] / p.tilt_sigma, lens, prints,
        own[:, 0] / bloom_sigmas, own[:, 1] / max(p.height_sigma, _TINY), taped])


def jacobian(problem: Problem, stacked: Stacked, unknowns: FloatArray) -> FloatArray:
    """Derivatives of all misfits by forward differences, shape (rows, unknowns).

    An edge point depends on the camera, the print and its own target only, so
    the targets' unknowns are stepped all at once.
    """
    start = edge_misfits(problem, stacked, unknowns)
    prior_start = prior_misfits(problem, unknowns)
    table = np.zeros((len(start) + len(prior_start), problem.size))
    shared = problem.target_start
    # Beyond the camera only taped distances make priors depend on places.
    stepped_priors = problem.size if problem.distances else problem.camera_size
    for j in range(max(shared, stepped_priors)):
        stepped = unknowns.copy()
        step = _step(problem, j)
        stepped[j] += step
        if j < stepped_priors:
            table[len(start):, j] = (prior_misfits(problem, stepped) - prior_start) / step
        if j < shared:
            table[:len(start), j] = (edge_misfits(problem, stacked, stepped) - start) / step
    _own_prior_columns(problem, table[len(start):])
    _target_columns(problem, stacked, unknowns, start, table)
    return table


def _own_prior_columns(problem: Problem, priors: FloatArray) -> None:
    """Derivatives of the priors of print, bloom and height, each by its own unknown; `priors` are their rows."""
    count, row = len(problem.targets), problem.camera_size - 6 + 2
    print_sigmas = np.maximum([problem.priors.print_sigma, problem.priors.stretch_sigma], _TINY)
    priors[row:row + 2, problem.camera_size:problem.target_start] = np.diag(1 / print_sigmas)
    own = priors[row + 2:row + 2 + 2 * count]
    for i, target in enumerate(problem.targets):
        own[i, problem.target_start + 2 * i] = 1 / target.bloom_sigma
        own[count + i, problem.target_start + 2 * i + 1] = 1 / max(problem.priors.height_sigma, _TINY)


def _target_columns(problem: Problem, stacked: Stacked, unknowns: FloatArray, start: FloatArray, table: FloatArray
                    ) -> None:
    """Fill in the derivatives by the targets' own unknowns and places."""
    camera, stretch = problem.camera(unknowns), problem.print_stretch(unknowns)
    own, seen = problem.bloom_and_height(unknowns), problem.seen_at(unknowns)

    def slope(own: FloatArray, seen: FloatArray, step: float) -> FloatArray:
        places = problem.places_under(camera, own, seen)
        return np.asarray((_edge_misfits(stacked, camera, stretch, own, places) - start) / step)

    rows = np.arange(len(start))
    for k, step in enumerate(_OWN_STEPS):
        moved = own.copy()
        moved[:, k] += step
        table[rows, problem.target_start + 2 * stacked.owner + k] = slope(moved, seen, step)
    rank = stacked.owner - (stacked.owner > problem.held)
    free = stacked.owner != problem.held
    for k, step in enumerate(_PLACE_STEPS):
        moved = seen.copy()
        moved[:, k] += step
        table[rows[free], problem.place_start + 3 * rank[free] + k] = slope(own, moved, step)[free]


# Difference steps: small against what matters, large against rounding.
_OWN_STEPS = (1e-4, 1e-3)  # [px, mm]
_PLACE_STEPS = (1e-3, 1e-3, 1e-6)  # [px, px, rad]


def _step(problem: Problem, index: int) -> float:
    """Difference step of an unknown."""
    if 3 <= index < 6:
        return 1e-3  # [px, px, mm]
    if index < problem.target_start:
        return 1e-6
    if index < problem.place_start:
        return _OWN_STEPS[(index - problem.target_start) % 2]
    return _PLACE_STEPS[(index - problem.place_start) % 3]
