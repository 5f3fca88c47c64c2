"""The two marks that fix the slab frame, so that it is found again with no camera."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from crackmap.scale.fit import Fit
from crackmap.scale.target import FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Marks:
    """Marks A and B in the frame of a fit, and how to find them."""

    a: FloatArray  # (2,) [mm]
    b: FloatArray  # (2,) [mm]
    kind: str
    a_name: str
    b_name: str

    @property
    def turn(self) -> float:
        """Direction from A to B. [rad]"""
        return float(np.arctan2(*(self.b - self.a)[::-1]))


@dataclass(frozen=True, slots=True)
class MarkChoice:
    """Which points of which targets serve as marks; the targets by their places in the fit's list."""

    a: tuple[int, float, float]  # target, x and y on it [mm]
    b: tuple[int, float, float]
    kind: str
    a_name: str
    b_name: str


def choose_marks(fit: Fit) -> MarkChoice:
    """The marks of a fit.

    Two markers and more: the centres of the pair farthest apart, A the one
    with the smaller id. One marker: its centre and the middle of its right
    edge. A sheet or card: the two ends of its lower long edge.
    """
    targets, places = fit.problem.targets, fit.places
    if targets[0].kind == "rule":
        half = targets[0].size_mm[0] / 2
        return MarkChoice((0, -half, 0.0), (0, half, 0.0), "sheet",
                          "first point on the rule", "second point on the rule")
    if targets[0].kind != "marker":
        length, width = targets[0].size_mm
        name = targets[0].name
        return MarkChoice((0, -length / 2, -width / 2), (0, length / 2, -width / 2), "sheet",
                          f"corner of {name}, pencilled round", f"other corner of {name}'s same long edge")
    if len(targets) == 1:
        name = targets[0].name
        return MarkChoice((0, 0.0, 0.0), (0, targets[0].size_mm[0] / 2, 0.0), "marker",
                          f"centre of {name}", f"middle of {name}'s right-hand edge")
    gaps = np.linalg.norm(places[:, None, :2] - places[None, :, :2], axis=2)
    i, j = sorted(np.unravel_index(int(np.argmax(gaps)), gaps.shape))
    return MarkChoice((int(i), 0.0, 0.0), (int(j), 0.0, 0.0), "markers",
                      f"centre of {targets[i].name}", f"centre of {targets[j].name}")


def marks_at(choice: MarkChoice, places: FloatArray, stretch: FloatArray) -> Marks:
    """Where the chosen marks lie for given places of the targets.

    `places` has shape (T, 3), a row a target; `stretch` (2,).
    """

    def point(index: int, x: float, y: float) -> FloatArray:
        px, py, turn = places[index]
        x, y = stretch * [x, y]
        return np.array([px + np.cos(turn) * x - np.sin(turn) * y, py + np.sin(turn) * x + np.cos(turn) * y])

    return Marks(point(*choice.a), point(*choice.b), choice.kind, choice.a_name, choice.b_name)


def into_frame(marks: Marks, points: FloatArray) -> FloatArray:
    """Points of the fit's frame in the frame of the marks, shape (N, 2). [mm]"""
    cos, sin = np.cos(marks.turn), np.sin(marks.turn)
    moved = points - marks.a
    return np.stack([moved[:, 0] * cos + moved[:, 1] * sin, -moved[:, 0] * sin + moved[:, 1] * cos], axis=1)
