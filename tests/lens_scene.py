"""A lens sheet in front of a simulated camera: corners by formula, and rendered photos.

The truth is the camera used here; nothing of crackmap.scale takes part in making it.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import pypdfium2

from crackmap.records import Photo, PhotoFacts
from crackmap.scale.lens_views import BoardView
from crackmap.settings import LENS_BOARDS, LENS_SQUARE, LensBoardSettings
from crackmap.sheets.lens_board import lens_board_pdf

SUPERSAMPLING = 2
# The rasteriser snaps edges to whole pixels, so it draws finely (0.02 mm at most);
# the mean of 3 x 3 then suits the photos' sampling, which would otherwise alias.
PAPER_DPI, PAPER_MEAN = 600.0, 3
Pose = tuple[np.ndarray, np.ndarray]  # rotation vector, translation [mm]
WHITE, BLACK, TABLE = 0.75, 0.03, 0.25  # linear light


@dataclass(frozen=True)
class TrueCamera:
    """Pinhole with OpenCV's distortion."""

    width: int
    height: int
    matrix: np.ndarray
    distortion: np.ndarray

    @classmethod
    def phone(cls, width: int, height: int, distortion: tuple[float, ...], focal_35mm: float = 26.0,
              off_centre: tuple[float, float] = (0.004, -0.003)) -> TrueCamera:
        """A phone's main camera; the axis is a little off the picture's middle, as shares of the width."""
        f = focal_35mm / 43.267 * np.hypot(width, height)
        centre = (width - 1) / 2 + off_centre[0] * width, (height - 1) / 2 + off_centre[1] * width
        matrix = np.array([[f, 0, centre[0]], [0, f, centre[1]], [0, 0, 1]])
        return cls(width, height, matrix, np.array(distortion, float))


def board_corners(paper: str = "a4") -> np.ndarray:
    """Inner corners of the chessboard, x right, y down, from its upper left corner. [mm]"""
    layout = LENS_BOARDS[paper]
    x, y = np.meshgrid(np.arange(1, layout.columns), np.arange(1, layout.rows))
    return np.stack([x.ravel(), y.ravel()], axis=1) * LENS_SQUARE


def poses(camera: TrueCamera, count: int, rng: np.random.Generator, paper: str = "a4",
          tilt_deg: tuple[float, float] = (15, 40), spread: float = 0.30) -> list[Pose]:
    """Rotation vector and translation of the sheet in views as the sheet's own text asks for."""
    layout = LENS_BOARDS[paper]
    middle = np.array([layout.columns, layout.rows, 0]) * LENS_SQUARE / 2
    made = []
    for number in range(count):
        tilt, towards = np.radians(rng.uniform(*tilt_deg)), 2 * np.pi * (number + rng.uniform(0, 0.5)) / count
        spin = rng.choice([0, np.pi / 2, np.pi, -np.pi / 2]) + rng.uniform(-0.3, 0.3)
        turn = (cv2.Rodrigues(tilt * np.array([np.cos(towards), np.sin(towards), 0]))[0]
                @ cv2.Rodrigues(np.array([0, 0, spin]))[0])
        fill = rng.uniform(0.5, 0.75)  # of the picture's width
        distance = camera.matrix[0, 0] * layout.columns * LENS_SQUARE / (fill * camera.width)
        around = 2.4 * number
        aim = spread * np.array([np.cos(around) * camera.width, np.sin(around) * camera.height])
        centre = np.r_[aim / camera.matrix[0, 0], 1] * distance
        made.append((cv2.Rodrigues(turn)[0].ravel(), centre - turn @ middle))
    return made


def seen_corners(camera: TrueCamera, pose: Pose, noise_px: float,
                 rng: np.random.Generator, name: str, stretch: float = 1.0, paper: str = "a4") -> BoardView:
    """The corners that fall inside the picture, with noise."""
    points = board_corners(paper)
    truly = np.c_[points * [1, stretch], np.zeros(len(points))]
    pixels = cv2.projectPoints(truly, *pose, camera.matrix, camera.distortion)[0].reshape(-1, 2)
    pixels = pixels + rng.normal(0, noise_px, pixels.shape)
    inside = ((pixels > 10) & (pixels < [camera.width - 10, camera.height - 10])).all(axis=1)
    return BoardView(name, (camera.width, camera.height), points[inside], pixels[inside])


class Renderer:
    """Photos of the printed PDF through a camera; rays are reckoned once."""

    def __init__(self, camera: TrueCamera, paper: str = "a4") -> None:
        self.camera = camera
        s = SUPERSAMPLING
        u, v = np.meshgrid((np.arange(camera.width * s) + 0.5) / s - 0.5,
                           (np.arange(camera.height * s) + 0.5) / s - 0.5)
        stop = (cv2.TERM_CRITERIA_MAX_ITER, 20, 0)
        pixels = np.stack([u.ravel(), v.ravel()], axis=1)[:, None]
        rays = cv2.undistortPoints(pixels, camera.matrix, camera.distortion, criteria=stop)
        self.rays = rays.reshape(-1, 2)
        page = pypdfium2.PdfDocument(lens_board_pdf(LensBoardSettings(paper=paper)))[0]
        grey = page.render(scale=PAPER_DPI / 72, grayscale=True).to_numpy()
        page_mm = np.array(page.get_size()) / 72 * 25.4
        self.texels_per_mm = np.array(grey.shape[::-1]) / page_mm / PAPER_MEAN  # whole pixels cover the page
        layout = LENS_BOARDS[paper]
        # upper left corner of the board on the page [mm]
        self.board_at = np.array([(page_mm[0] - layout.columns * LENS_SQUARE) / 2, 7.0])
        rows, columns = (n // PAPER_MEAN for n in grey.shape)
        mean = cv2.resize(grey[: rows * PAPER_MEAN, : columns * PAPER_MEAN], (columns, rows),
                          interpolation=cv2.INTER_AREA)
        self.sheet = mean.astype(np.float32) * np.float32((WHITE - BLACK) / 255) + np.float32(BLACK)

    def photo(self, pose: Pose, rng: np.random.Generator, name: str = "board.jpg",
              blur_px: float = 0.8, noise: float = 0.01, quality: int = 92) -> Photo:
        """One 8-bit sRGB photo: sampled, blurred and made noisy in linear light, then JPEG."""
        s, camera = SUPERSAMPLING, self.camera
        turn = cv2.Rodrigues(pose[0])[0]
        to_ray = np.c_[turn[:, :2], pose[1]]
        on_sheet = np.c_[self.rays, np.ones(len(self.rays))] @ np.linalg.inv(to_ray).T
        on_page = on_sheet[:, :2] / on_sheet[:, 2:] + self.board_at
        texel = (on_page * self.texels_per_mm - 0.5).astype(np.float32)
        grid = texel.reshape(camera.height * s, camera.width * s, 2)
        light = cv2.remap(self.sheet, grid, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT,
                          borderValue=TABLE)
        light = cv2.GaussianBlur(light, (0, 0), blur_px * s)
        light = cv2.resize(light, (camera.width, camera.height), interpolation=cv2.INTER_AREA)
        light = np.clip(light + rng.normal(0, noise, light.shape) * np.sqrt(light + 0.02), 0, 1)
        coded = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
        grey = np.round(255 * coded).astype(np.uint8)
        stored = cv2.imencode(".jpg", grey, [cv2.IMWRITE_JPEG_QUALITY, quality])[1]
        pixels = cv2.cvtColor(cv2.imdecode(stored, cv2.IMREAD_GRAYSCALE), cv2.COLOR_GRAY2RGB)
        return Photo(pixels, PhotoFacts(name, "0" * 64, camera.width, camera.height))
