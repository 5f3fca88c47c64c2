"""Made-up cracks for the judge's pictures, with dark, lit, dusty and open floors."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from crackmap.survey.judge_scene_wood import noise_field

FloatImage = NDArray[np.float32]
Rng = np.random.Generator


def stroke(size: int, points: NDArray[np.float64], widths: NDArray[np.float64]) -> FloatImage:
    """Cover (0 to 1) of each pixel by a line of varying width, drawn four times as large.

    `points` has shape (N, 2), `widths` (N,). [px]
    """
    low = np.maximum(np.floor(points.min(0) - widths.max() - 3).astype(int), 0)
    high = np.minimum(np.ceil(points.max(0) + widths.max() + 4).astype(int), size)
    cover = np.zeros((size, size), np.float32)
    if (high <= low).any():
        return cover
    times = 4
    w, h = (high - low) * times
    fine = np.zeros((h, w), np.uint8)
    tangent = np.gradient(points, axis=0)
    tangent /= np.maximum(np.hypot(*tangent.T), 1e-6)[:, None]
    normal = np.stack([-tangent[:, 1], tangent[:, 0]], 1)
    left, right = points - normal * widths[:, None] / 2, points + normal * widths[:, None] / 2
    quads = np.stack([left[:-1], left[1:], right[1:], right[:-1]], 1)
    quads = ((quads - low + 0.5) * times - 0.5) * 16
    for quad in np.rint(quads).astype(np.int32):
        cv2.fillConvexPoly(fine, quad, 255, cv2.LINE_8, 4)
    small = cv2.resize(fine, None, fx=1 / times, fy=1 / times, interpolation=cv2.INTER_AREA)
    cover[low[1] : high[1], low[0] : high[0]] = small / 255.0
    return cover


def draw_crack(
    rng: Rng,
    light: FloatImage,
    wood: NDArray[np.bool_],
    angle: FloatImage,
    mm: float,
    lines: list[tuple[NDArray[np.float64], NDArray[np.float64]]],
) -> None:
    """One crack, sometimes with a branch, drawn into `light` and added to `lines`.

    Pictures have shape (H, W); `mm` is that of a pixel.
    """
    size = light.shape[0]
    start = rng.uniform(0.05, 0.95, 2) * size
    heading = 0.0 if rng.random() < 0.5 else np.pi
    if rng.random() < 0.4:  # an end check
        start[0] = -5.0 if heading == 0.0 else size + 4.0
        outside = ~wood[int(np.clip(start[1], 0, size - 1))]
        if outside.any() and heading == 0.0:
            start[0] = np.argmax(~outside) - 3.0
    points = _crack_path(rng, angle, start, heading, rng.uniform(15, 260) / mm, mm)
    widest = np.exp(rng.uniform(np.log(0.5), np.log(min(30, 14 / mm))))
    if rng.random() < 0.6:
        widest = np.exp(rng.uniform(np.log(0.6), np.log(5)))
    widths = _crack_widths(rng, len(points), widest, taper_start=bool(rng.random() < 0.5))
    _draw_crack(rng, light, points, widths, mm)
    lines.append((points, widths))
    if rng.random() < 0.3 and len(points) > 60:
        root = int(rng.integers(10, len(points) - 30))
        twig = _crack_path(rng, angle, points[root], heading + rng.normal(0, 0.25), rng.uniform(10, 60) / mm, mm)
        narrow = _crack_widths(rng, len(twig), widths[root] * rng.uniform(0.3, 0.9), taper_start=False)
        _draw_crack(rng, light, twig, narrow, mm)
        lines.append((twig, narrow))


def grain_direction(grain: FloatImage) -> FloatImage:
    """Direction along the grain at each pixel, from x towards y. [rad] Shape (H, W) in and out."""
    gx = cv2.GaussianBlur(cv2.Sobel(grain, cv2.CV_32F, 1, 0), (0, 0), 6)
    gy = cv2.GaussianBlur(cv2.Sobel(grain, cv2.CV_32F, 0, 1), (0, 0), 6)
    return np.asarray(np.arctan2(-gx, gy), np.float32)


def _crack_path(
    rng: Rng, grain_angle: FloatImage, start: NDArray[np.float64], heading: float, length: float, mm: float
) -> NDArray[np.float64]:
    """Steps of a pixel along the grain, wandering and kinked, stopping at the picture's border."""
    size = grain_angle.shape[0]
    astray = rng.normal(0, 0.12) if rng.random() < 0.9 else rng.uniform(-1.2, 1.2)
    wander, kink = rng.uniform(0.0, 0.03), rng.uniform(0.0, 0.2)
    here, turn, points = start.astype(float), 0.0, []
    for _ in range(int(length)):
        column, row = np.clip(here.astype(int), 0, size - 1)
        along = float(grain_angle[row, column])
        if np.cos(along - heading) < 0:
            along += np.pi
        turn = 0.985 * turn + rng.normal(0, wander)
        if rng.random() < 0.04:
            turn += rng.normal(0, kink)
        angle = along + astray + turn
        here = here + [np.cos(angle), np.sin(angle)]
        if not (-6 < here[0] < size + 6 and -6 < here[1] < size + 6):
            break
        points.append(here)
    path = np.array(points) if len(points) > 8 else start + np.outer(np.arange(9), [np.cos(heading), np.sin(heading)])
    rough = rng.uniform(0.2, 1.8)
    for scale in (1.0, 2.5, 6.0, 12.0):  # [mm]: torn fibre steps at every length
        noise = rng.standard_normal((len(path), 1))
        sigma = max(scale / mm / 2, 0.7)
        jag = cv2.GaussianBlur(noise, (1, 2 * int(3 * sigma) + 1), sigmaX=0.01, sigmaY=sigma).ravel()
        path[:, 1] += jag / max(jag.std(), 1e-6) * rough * 0.05 * scale / mm
    return path


def _crack_widths(rng: Rng, count: int, widest: float, taper_start: bool) -> NDArray[np.float64]:
    t = np.linspace(0, 1, count)
    shape = (1 - t) ** rng.uniform(0.3, 1.2)
    if taper_start:
        shape = np.minimum(shape, t ** rng.uniform(0.3, 1.2)) * 1.5
    rough = rng.standard_normal((count, 1))
    rough = cv2.GaussianBlur(rough, (1, 61), sigmaX=0.01, sigmaY=rng.uniform(2, 10)).ravel()
    ragged = np.exp(rng.uniform(0, 0.5) * rough / max(rough.std(), 1e-6))
    return np.asarray(np.maximum(widest * shape * ragged, 0.0))


def _draw_crack(
    rng: Rng, light: FloatImage, points: NDArray[np.float64], widths: NDArray[np.float64], mm: float
) -> None:
    """The gap with its floor, one wall perhaps lit, dust or filler in stretches, a stained margin."""
    size = light.shape[0]
    cover = stroke(size, points, widths)
    soft = rng.random() < 0.25  # a closing check: a shallow groove with rounded lips, and no sharp gap to see
    if soft:
        breadth = max(float(np.median(widths)), 1.0) * rng.uniform(0.3, 0.9)
        cover = cv2.GaussianBlur(np.minimum(1.6 * cover, 1.0), (0, 0), breadth)
    around = cv2.GaussianBlur(cv2.resize(light, None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA), (0, 0), 2)
    around = cv2.resize(around, (size, size))
    _stain_margin(rng, light, points, widths, mm)
    floor = around * np.exp(rng.uniform(np.log(0.01), np.log(0.35)))
    if soft or rng.random() < 0.15:  # shallow: the floor is nearly as bright as the wood
        floor = around * rng.uniform(0.25, 0.7)
    floor = _walls(rng, floor, around, points, widths)
    if rng.random() < 0.3:  # dust, filler or the bench seen through, in stretches
        where = cv2.GaussianBlur(rng.standard_normal((len(points), 1)), (1, 121), sigmaX=0.01, sigmaY=15).ravel()
        filled = widths * (where > np.quantile(where, rng.uniform(0.3, 0.95)))
        fill = stroke(size, points, filled * rng.uniform(0.5, 1.0))
        speckle = 1 + 0.3 * noise_field(rng, size, 1.5, 1.5)
        wood_dust = rng.random() < 0.6
        dust = around * rng.uniform(0.3, 1.3) if wood_dust else rng.uniform(0.05, 0.5) * np.array([1, 0.85, 0.65])
        floor = floor + fill[..., None] * (dust * speckle[..., None] - floor)
    light += (np.maximum(floor, 0.0005) - light) * cover[..., None]


def _walls(
    rng: Rng, floor: FloatImage, around: FloatImage, points: NDArray[np.float64], widths: NDArray[np.float64]
) -> FloatImage:
    """Walls that lean: bright at the lips, darker inward, on both sides or more on one."""
    if rng.random() < 0.3:
        return floor
    size = floor.shape[0]
    steep, lean = np.exp(rng.uniform(np.log(1.5), np.log(20))), rng.uniform(-0.4, 0.4)
    tangent = np.gradient(points, axis=0)
    normal = np.stack([-tangent[:, 1], tangent[:, 0]], 1)
    lit = around * rng.uniform(0.5, 1.0)
    for depth in (0.12, 0.3, 0.5):  # from the lips inward, as a share of the half-width
        inner = stroke(size, points + normal * (lean * depth * widths / 2)[:, None], widths * (1 - depth))
        deeper = around / np.sqrt(1 + (steep * depth) ** 2) if depth < 0.5 else floor
        lit = lit + inner[..., None] * (np.maximum(deeper, floor) - lit)
    return np.asarray(lit, np.float32)


def _stain_margin(
    rng: Rng, light: FloatImage, points: NDArray[np.float64], widths: NDArray[np.float64], mm: float
) -> None:
    """A dark or pale margin, in places: stain drawn in, a rounded or torn lip."""
    if rng.random() < 0.4:
        return
    where = cv2.GaussianBlur(rng.standard_normal((len(points), 1)), (1, 81), sigmaX=0.01, sigmaY=10).ravel()
    where = np.clip(0.5 + where / max(where.std(), 1e-6) * rng.uniform(0, 1), 0, 1)
    reach = rng.uniform(0.5, 4) / max(mm, 0.4)
    spread = cv2.GaussianBlur(
        stroke(light.shape[0], points, np.maximum(widths, 1.0) * where + reach * where), (0, 0), reach
    )
    tint = np.array([1.0, rng.uniform(0.8, 1.1), rng.uniform(0.6, 1.1)])
    light *= 1 - rng.uniform(-0.15, 0.6) * np.minimum(spread, 1)[..., None] * tint
