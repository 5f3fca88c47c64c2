"""The joint least-squares problem: what is unknown, what was seen, what is known beforehand.

Unknowns, in this order
-----------------------
camera   rotation vector (3) from a base rotation, translation (3) [mm], and
         where the lens is not given: log of the focal length over its prior, k1.
         The translation's z is for the prior's focal length: it grows with the
         focal length, which keeps the scale and straightens the valley between
         the two
print    log of the true size of the targets over the size given; log of their
         width over their height, over that given: printers stretch one way
target   for each target: bloom [px] and height beyond the one given [mm]
place    for each target but one: x, y [mm] and turn [rad] on the show face

The target without a place holds the frame: its centre is the origin and its
bottom edge the x direction.
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
    base: FloatArray  # (3, 3) rotation that the rotation vector starts from

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
        rotation = rotation_from_vector(unknowns[:3]) @ self.base
        if self.lens is not None:
            return Camera(self.lens, rotation, unknowns[3:6])
        longer = float(np.exp(unknowns[6]))
        lens = Lens.central(self.priors.focal_px * longer, float(unknowns[7]), self.width, self.height)
        return Camera(lens, rotation, unknowns[3:6] * [1.0, 1.0, longer])

    def places(self, unknowns: FloatArray) -> FloatArray:
        """Each target's x, y [mm] and turn [rad], shape (n, 3)."""
        places = np.zeros((len(self.targets), 3))
        others = [i for i in range(len(self.targets)) if i != self.held]
        places[others] = unknowns[self.place_start:].reshape(-1, 3)
        return places

    def print_stretch(self, unknowns: FloatArray) -> FloatArray:
        """Factors from the targets' sizes given to the true ones: across and up the print, shape (2,)."""
        size, stretch = unknowns[self.camera_size:self.target_start]
        return np.exp([size + stretch / 2, size - stretch / 2])

    def bloom_and_height(self, unknowns: FloatArray) -> FloatArray:
        """Each target's bloom [px] and height beyond the one given [mm], shape (n, 2)."""
        return unknowns[self.target_start:self.place_start].reshape(-1, 2)

    def pack(self, camera: FloatArray, places: FloatArray) -> FloatArray:
        """Unknowns with the given camera part and places, all else zero."""
        others = np.delete(places, self.held, axis=0)
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
    """Misfits of what was known beforehand, each over its sigma."""
    p = problem.priors
    camera, own, places = problem.camera(unknowns), problem.bloom_and_height(unknowns), problem.places(unknowns)
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

    An edge point depends on the camera and on its own target only, so the
    targets' unknowns are stepped all at once.
    """
    start = edge_misfits(problem, stacked, unknowns)
    prior_start = prior_misfits(problem, unknowns)
    table = np.zeros((len(start) + len(prior_start), problem.size))
    shared = problem.target_start
    for j in range(problem.size):
        stepped = unknowns.copy()
        step = _step(problem, j)
        stepped[j] += step
        table[len(start):, j] = (prior_misfits(problem, stepped) - prior_start) / step
        if j < shared:
            table[:len(start), j] = (edge_misfits(problem, stacked, stepped) - start) / step
    _target_columns(problem, stacked, unknowns, start, table)
    return table


def _target_columns(problem: Problem, stacked: Stacked, unknowns: FloatArray, start: FloatArray, table: FloatArray
                    ) -> None:
    """Fill in the derivatives by the targets' own unknowns and places."""
    camera, stretch = problem.camera(unknowns), problem.print_stretch(unknowns)
    own, places = problem.bloom_and_height(unknowns), problem.places(unknowns)
    first = problem.target_start
    rows = np.arange(len(start))
    for k in range(2):
        step = (1e-4, 1e-3)[k]
        moved = own.copy()
        moved[:, k] += step
        slope = (_edge_misfits(stacked, camera, stretch, moved, places) - start) / step
        table[rows, first + 2 * stacked.owner + k] = slope
    first = problem.place_start
    rank = stacked.owner - (stacked.owner > problem.held)
    free = stacked.owner != problem.held
    for k in range(3):
        step = (1e-3, 1e-3, 1e-6)[k]
        moved = places.copy()
        moved[:, k] += step
        slope = (_edge_misfits(stacked, camera, stretch, own, moved) - start) / step
        table[rows[free], first + 3 * rank[free] + k] = slope[free]


def _step(problem: Problem, index: int) -> float:
    """Difference step of an unknown: small against what matters, large against rounding."""
    if 3 <= index < 6:
        return 1e-3
    if index < problem.target_start:
        return 1e-6
    if index < problem.place_start:
        return 1e-4
    return 1e-6 if (index - problem.place_start) % 3 == 2 else 1e-3
