"""One joint fit: camera pose, lens and every target's place on the slab at once."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from crackmap.errors import ScaleError
from crackmap.scale.camera import STRAIGHT_DOWN, Camera, Lens, rotation_from_vector
from crackmap.scale.flat import with_lens_taken_out
from crackmap.scale.problem import (
    Priors,
    Problem,
    Stacked,
    TapedDistance,
    edge_misfits,
    jacobian,
    prior_misfits,
    stack,
)
from crackmap.scale.target import FloatArray, Target

_MOST_ROUNDS = 60
_SETTLED = 1e-5  # foreseen gain, as a share of the cost, at which a fit has settled
# From a rough start the edges are first trusted to a pixel only: the priors
# then lead into the long curved valley of height against focal length and tilt.
_LOOSE_PX, _LOOSE_ROUNDS = 1.0, 10
# A target is left out when the others agree so much better without it that
# chance would do that less than once in ten thousand photos (chi-square, six
# degrees of freedom: 28; from memory), and it misses by more than a fifth of a pixel.
LEFT_OUT_GAIN = 28.0
LEFT_OUT_MISS_PX = 0.2
ORDINARY_SIGMAS = 2.0  # a camera's tilt or lens is this far from the usual one often enough
NOTABLE_SIZE = 0.002  # share by which a target's size must be off to be named as the reason


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """The solution and how sure it is."""

    problem: Problem
    unknowns: FloatArray
    covariance: FloatArray  # of the unknowns, widened where things contradict each other
    cost: float  # sum of squared misfits
    rms_px: float  # of the edges' misfits
    strain: float  # above 1: edges or camera are farther from what is usual than chance brings
    left_out: tuple[tuple[Target, str], ...] = ()  # targets that didn't fit, and why

    @property
    def camera(self) -> Camera:
        """The camera in the frame of the target that holds it."""
        return self.problem.camera(self.unknowns)

    @property
    def places(self) -> FloatArray:
        """x, y [mm] and turn [rad] of each target used, shape (n, 3)."""
        return self.problem.places(self.unknowns)


def fit_camera(
    targets: tuple[Target, ...], priors: Priors, width: int, height: int, lens: Lens | None = None,
    distances: tuple[TapedDistance, ...] = ()
) -> Fit:
    """Fit all targets together; leave out those that contradict the others.

    Parameters
    ----------
    targets : tuple of Target
        At least one.
    width, height : int
        Of the photo. [px]
    lens : Lens, optional
        A lens that was measured beforehand.
    distances : tuple of TapedDistance
        Distances between targets that take part in the fit.

    Raises
    ------
    ScaleError
        If no camera above the slab sees the targets as the photo does.
    """
    first = solve(targets, priors, width, height, lens, distances)
    targets = tuple(with_lens_taken_out(t, first.camera.lens) for t in targets)
    fit = _settle(replace(first.problem, targets=targets), first.unknowns) or first
    left_out: list[tuple[Target, str]] = []
    while len(fit.problem.targets) > 2:
        worse = _worst_target(fit)
        if worse is None:
            break
        index, without, why = worse
        left_out.append((fit.problem.targets[index], why))
        fit = without
    return replace(fit, left_out=tuple(left_out))


def solve(
    targets: tuple[Target, ...], priors: Priors, width: int, height: int, lens: Lens | None,
    distances: tuple[TapedDistance, ...]
) -> Fit:
    """The best fit of all targets, from every plausible start.

    Raises
    ------
    ScaleError
        If no flat thing of the size given, seen from above, fits the corners of the largest target.
    """
    held = int(np.argmax([cv2.contourArea(t.corners_px.astype(np.float32)) for t in targets]))
    problem = Problem(targets, priors, width, height, lens, distances, held, STRAIGHT_DOWN)
    loose = _loosened(stack(targets), _LOOSE_PX)
    begun: list[Fit] = []
    for start_problem, unknowns in _starts(problem):
        rough = _descend(start_problem, loose, unknowns, _LOOSE_ROUNDS)
        begun += [rough] if rough is not None else []
        if rough is not None and len(targets) > 1 and rough.rms_px < _LOOSE_PX:
            break  # several targets leave no mirror solution
    best: Fit | None = None
    for start in sorted(begun, key=lambda f: f.cost)[:2]:
        found = _settle(start.problem, start.unknowns)
        if found is not None and (best is None or found.cost < best.cost):
            best = found
    if best is None:
        raise ScaleError(f"{targets[held].name} cannot be a flat thing of the size given, seen from above; check "
                         "the size, and photograph from straight above.")
    return best


def _starts(problem: Problem) -> list[tuple[Problem, FloatArray]]:
    """Straight above the largest target, and the poses that it alone allows (two mirror solutions)."""
    target = problem.targets[problem.held]
    lens = problem.lens or Lens.central(problem.priors.focal_px, 0.0, problem.width, problem.height)
    rays = lens.to_rays(target.corners_px)
    corners = np.c_[target.corners, np.zeros(4)]
    across = rays[1] - rays[0]
    turn = np.arctan2(across[1], across[0])
    distance = target.size_mm[0] / float(np.hypot(*across))
    straight = rotation_from_vector(np.array([0, 0, turn])) @ STRAIGHT_DOWN
    poses = [(straight, np.append(rays.mean(axis=0), 1.0) * distance)]
    if target.kind != "rule":  # two points give no pose
        found = cv2.solvePnPGeneric(corners, rays.reshape(-1, 1, 2), np.eye(3), np.zeros(5), flags=cv2.SOLVEPNP_IPPE)
        poses += [(cv2.Rodrigues(r)[0], np.ravel(t)) for r, t in zip(found[1], found[2], strict=True)]
    starts = []
    for rotation, translation in poses:
        rotation, translation = np.asarray(rotation, float), np.asarray(translation, float)
        if rotation[2, 2] > -0.2 or translation[2] <= 0:  # seen from below, or edge on
            continue
        camera = Camera(lens, rotation, translation - rotation[:, 2] * target.height)
        untilted = _untilted(rotation)
        vector = np.ravel(cv2.Rodrigues(rotation @ untilted.T)[0])
        begun = problem.with_base(untilted)
        zeros = [0.0, 0.0] if problem.lens is None else []
        centre = camera.see(np.array([[0, 0, target.height]]))[0]
        starts.append((begun, begun.pack(np.concatenate([vector, centre, translation[2:], zeros]),
                                         _start_places(camera, problem.targets))))
    return starts


def _untilted(rotation: FloatArray) -> FloatArray:
    """The rotation of a camera straight above that sees the slab turned the same way."""
    turn = np.arctan2(rotation[1, 0] + rotation[0, 1], rotation[0, 0] - rotation[1, 1])
    return np.asarray(rotation_from_vector(np.array([0.0, 0.0, turn])) @ STRAIGHT_DOWN)


def _start_places(camera: Camera, targets: tuple[Target, ...]) -> FloatArray:
    """Where the targets' centres are seen and how they are turned: u, v and turn, shape (n, 3)."""
    places = []
    for t in targets:
        corners = camera.meet_height(t.corners_px, np.full(4, t.height))
        across = corners[1] + corners[2] - corners[0] - corners[3]
        centre = camera.see(np.array([[*corners.mean(axis=0), t.height]]))[0]
        places.append([*centre, np.arctan2(across[1], across[0])])
    return np.array(places)


def _settle(problem: Problem, unknowns: FloatArray) -> Fit | None:
    """Descend with the edges trusted a little first, then fully."""
    stacked = stack(problem.targets)
    nearer = _descend(problem, _loosened(stacked, _LOOSE_PX / 10), unknowns, _LOOSE_ROUNDS)
    return _descend(problem, stacked, unknowns if nearer is None else nearer.unknowns, _MOST_ROUNDS)


def _loosened(stacked: Stacked, floor_px: float) -> Stacked:
    """The same edges, none of them surer than `floor_px`."""
    return replace(stacked, sigmas=np.hypot(stacked.sigmas, floor_px))


def _descend(problem: Problem, stacked: Stacked, unknowns: FloatArray, rounds: int) -> Fit | None:
    """Levenberg-Marquardt (Marquardt 1963) from one start; None if it leads to no camera above the slab."""
    misfits = _misfits(problem, stacked, unknowns)
    cost, damping = float(misfits @ misfits), 1e-3
    table = jacobian(problem, stacked, unknowns)
    for _ in range(rounds):
        size = np.maximum(np.linalg.norm(table, axis=0), 1e-9)
        system = np.vstack([table / size, np.sqrt(damping) * np.eye(len(size))])
        step = np.linalg.lstsq(system, np.append(-misfits, np.zeros(len(size))), rcond=None)[0] / size
        foreseen = cost - float(((misfits + table @ step) ** 2).sum())
        if damping < 1e-6 and foreseen < _SETTLED * (1 + cost):
            break
        tried = unknowns + step
        with np.errstate(all="ignore"):
            tried_misfits = _misfits(problem, stacked, tried)
        tried_cost = float(tried_misfits @ tried_misfits)
        if np.isfinite(tried_cost) and tried_cost < cost:
            unknowns, misfits, cost, damping = tried, tried_misfits, tried_cost, damping / 100
            table = jacobian(problem, stacked, unknowns)
        else:
            damping *= 10
            if damping > 1e9:
                break
    camera = problem.camera(unknowns)
    if camera.rotation[2, 2] > -0.2 or camera.distance <= 0 or not np.isfinite(cost):
        return None
    normal = table.T @ table
    scale = 1 / np.sqrt(np.diag(normal))
    covariance = np.linalg.inv(normal * np.outer(scale, scale)) * np.outer(scale, scale)
    edges = misfits[:len(stacked.owner)]
    strain = _strain(edges, misfits[len(edges):len(edges) + problem.camera_size - 4])
    return Fit(problem, unknowns, covariance * max(1.0, strain) ** 2, cost,
               float(np.sqrt(((edges * stacked.sigmas) ** 2).mean())), strain)


def _strain(edges: FloatArray, camera: FloatArray) -> float:
    """How far edges, or the camera's tilt and lens, are from what is usual, over what is still ordinary.

    Two things that contradict each other can often be reconciled by an absurd
    camera. Widening a claim by the root of reduced chi-square is Birge's rule
    (Phys. Rev. 40, 207, 1932; from memory); for the camera the worst of its
    few misfits is taken, two sigma being ordinary.
    """
    return float(max(np.sqrt((edges**2).mean()), np.abs(camera).max() / ORDINARY_SIGMAS))


def _misfits(problem: Problem, stacked: Stacked, unknowns: FloatArray) -> FloatArray:
    return np.concatenate([edge_misfits(problem, stacked, unknowns), prior_misfits(problem, unknowns)])


def _worst_target(fit: Fit) -> tuple[int, Fit, str] | None:
    """The target whose leaving out helps the rest most, the fit without it, and why; None if all agree."""
    problem = fit.problem
    stacked = stack(problem.targets)
    misfits = edge_misfits(problem, stacked, fit.unknowns)
    rms = np.array([np.sqrt(((misfits * stacked.sigmas)[stacked.owner == i] ** 2).mean())
                    for i in range(len(problem.targets))])
    if rms.max() < LEFT_OUT_MISS_PX / 4 or fit.cost < len(misfits):
        return None
    best: tuple[int, Fit, str] | None = None
    for index in np.argsort(rms)[::-1][:4]:
        kept = [i for i in range(len(problem.targets)) if i != index]
        targets = tuple(problem.targets[i] for i in kept)
        distances = tuple(replace(d, first=kept.index(d.first), second=kept.index(d.second))
                          for d in problem.distances if index not in (d.first, d.second))
        without = solve(targets, problem.priors, problem.width, problem.height, problem.lens, distances)
        miss_px, why = how_it_misses(without, problem.targets[index])
        if (fit.cost - without.cost > LEFT_OUT_GAIN and miss_px > LEFT_OUT_MISS_PX
                and (best is None or without.cost < best[1].cost)):
            best = (int(index), without, why)
    return best


def how_it_misses(fit: Fit, target: Target) -> tuple[float, str]:
    """Compare a target with what a camera fitted without it should see of it.

    Returns
    -------
    miss_px : float
        Rms distance of its corners from where a flat target of the size given, lying on the plane, would have
        them. [px]
    why : str
        What is the matter, as the rest of a sentence about it.
    """
    camera = fit.camera
    seen = camera.meet_height(target.corners_px, np.full(4, target.height))
    shape = target.corners * fit.problem.print_stretch(fit.unknowns)
    moved = seen - seen.mean(axis=0)
    turn = np.arctan2((shape[:, 0] * moved[:, 1] - shape[:, 1] * moved[:, 0]).sum(), (moved * shape).sum())
    rotation = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    flat = shape @ rotation.T + seen.mean(axis=0)
    miss = camera.see(np.c_[flat, np.full(4, target.height)]) - target.corners_px
    size = float(np.sqrt((moved**2).sum() / (shape**2).sum())) - 1
    if abs(size) > NOTABLE_SIZE:
        why = (f"reads {abs(size) * 100:.1f} % too {'large' if size > 0 else 'small'} against the others, so that it "
               "lies higher or lower than they do, or is of another size")
    else:
        why = "is not seen square as the others are, so that it is tilted or curled"
    return float(np.sqrt((miss**2).sum(axis=1).mean())), why
