"""The printed lens sheet: size, pattern, and a detector that knows nothing of our drawing."""

from __future__ import annotations

import io

import cv2
import numpy as np
import pdfplumber
import pypdf
import pypdfium2
import pytest

from crackmap.errors import SheetError
from crackmap.settings import LENS_BOARDS, LENS_MARKER_SHARE, LENS_SQUARE, LensBoardSettings
from crackmap.sheets.lens_board import lens_board_pdf

DPI = 150.0
POINTS_PER_MM = 72 / 25.4
# published: ISO 216 and ANSI/ASME Y14.1 (seen in secondary copies) [mm]
PAPERS = {"a4": (297.0, 210.0), "a3": (420.0, 297.0), "letter": (279.4, 215.9)}


def opencv_board(paper: str) -> cv2.aruco.CharucoBoard:
    layout = LENS_BOARDS[paper]
    ids = np.arange(layout.first_id, layout.first_id + layout.columns * layout.rows // 2)
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_250)
    return cv2.aruco.CharucoBoard((layout.columns, layout.rows), LENS_SQUARE, LENS_SQUARE * LENS_MARKER_SHARE,
                                  dictionary, ids)


def rasterised(paper: str) -> np.ndarray:
    page = pypdfium2.PdfDocument(lens_board_pdf(LensBoardSettings(paper=paper)))[0]
    return page.render(scale=DPI / 72).to_numpy()[..., 0].copy()


@pytest.mark.parametrize("paper", PAPERS)
def test_page_size(paper: str) -> None:
    pages = pypdf.PdfReader(io.BytesIO(lens_board_pdf(LensBoardSettings(paper=paper)))).pages
    assert len(pages) == 1
    box = pages[0].mediabox
    sizes = float(box.width) / POINTS_PER_MM, float(box.height) / POINTS_PER_MM
    assert sizes == pytest.approx(PAPERS[paper], abs=0.01)


@pytest.mark.parametrize("paper", PAPERS)
def test_pattern_is_opencvs(paper: str) -> None:
    """Against cv2's own picture of the board (independent)."""
    board, page = opencv_board(paper), rasterised(paper)
    layout = LENS_BOARDS[paper]
    size = np.round(np.array([layout.columns, layout.rows]) * LENS_SQUARE / 25.4 * DPI).astype(int)
    theirs = board.generateImage((int(size[0]), int(size[1])))
    left, top = (page.shape[1] - size[0]) // 2, round(7.0 / 25.4 * DPI)
    ours = page[top : top + size[1], left : left + size[0]]
    assert np.mean((ours > 127) != (theirs > 127)) < 0.02  # borders of cells, a pixel either way


@pytest.mark.parametrize("paper", PAPERS)
def test_every_corner_is_found_where_it_should_be(paper: str) -> None:
    board, page = opencv_board(paper), rasterised(paper)
    corners, ids, _, _ = cv2.aruco.CharucoDetector(board).detectBoard(page)
    layout = LENS_BOARDS[paper]
    assert len(ids) == (layout.columns - 1) * (layout.rows - 1)
    found = corners.reshape(-1, 2) * 25.4 / DPI
    true = np.asarray(board.getChessboardCorners())[ids.ravel(), :2]
    # geometric: squares of 30 mm; the page's own shift is taken out
    np.testing.assert_allclose(found - found.mean(axis=0), true - true.mean(axis=0), atol=0.12)


def test_no_two_papers_share_an_id() -> None:
    ids = [i for b in LENS_BOARDS.values() for i in range(b.first_id, b.first_id + b.columns * b.rows // 2)]
    assert len(ids) == len(set(ids)) and max(ids) < 250


def test_a_scale_marker_detector_sees_nothing() -> None:
    detector = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50))
    assert detector.detectMarkers(rasterised("a4"))[1] is None


@pytest.mark.parametrize("paper", PAPERS)
def test_words_and_bar(paper: str) -> None:
    with pdfplumber.open(io.BytesIO(lens_board_pdf(LensBoardSettings(paper=paper)))) as pdf:
        page = pdf.pages[0]
        text = page.extract_text()
        lengths = [abs(line["x1"] - line["x0"]) / POINTS_PER_MM for line in page.lines]
        for word in page.extract_words():
            assert word["x0"] > 5 * POINTS_PER_MM and word["x1"] < page.width - 5 * POINTS_PER_MM
            assert word["bottom"] < page.height - 5 * POINTS_PER_MM
    assert "squares of 30 mm" in text and "crackmap lens fit" in text and "must not curl" in text
    assert min(abs(length - 100) for length in lengths) < 0.01


def test_same_settings_same_bytes_and_unknown_paper() -> None:
    assert lens_board_pdf(LensBoardSettings()) == lens_board_pdf(LensBoardSettings())
    with pytest.raises(SheetError, match="a5"):
        lens_board_pdf(LensBoardSettings(paper="a5"))
