"""The printed markers: read back as a PDF, and rasterised and detected as a camera would."""

from __future__ import annotations

import io

import cv2
import numpy as np
import pdfplumber
import pypdf
import pypdfium2
import pytest

from crackmap.errors import SheetError
from crackmap.scale.markers import tells_mirror
from crackmap.settings import MarkerSheetSettings
from crackmap.sheets.marker_sheet import IDS, LEAST_SIZE, marker_sheet_pdf

DPI = 200.0
MM_PER_PX = 25.4 / DPI
POINTS_PER_MM = 72 / 25.4


def rasterised(pdf: bytes) -> list[np.ndarray]:
    """Every page in grey (independent: PDFium)."""
    return [page.render(scale=DPI / 72).to_numpy()[..., 0].copy() for page in pypdfium2.PdfDocument(pdf)]


def detected(page: np.ndarray) -> dict[int, np.ndarray]:
    """Corners by id, without a single wrong bit."""
    settings = cv2.aruco.DetectorParameters()
    settings.errorCorrectionRate = 0.0
    settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    detector = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50), settings)
    corners, ids, _ = detector.detectMarkers(page)
    return {} if ids is None else {int(i): c.reshape(4, 2) for i, c in zip(ids.ravel(), corners, strict=True)}


@pytest.mark.parametrize(("paper", "width", "height"), [
    ("a4", 210.0, 297.0),  # published: ISO 216 (seen in secondary copies)
    ("letter", 215.9, 279.4),  # published: ANSI/ASME Y14.1, 8.5 x 11 in (seen in secondary copies)
])
def test_page_size(paper: str, width: float, height: float) -> None:
    pages = pypdf.PdfReader(io.BytesIO(marker_sheet_pdf(MarkerSheetSettings(paper=paper)))).pages
    assert len(pages) == 4
    for page in pages:
        assert float(page.mediabox.width) == pytest.approx(width * POINTS_PER_MM, abs=0.01)
        assert float(page.mediabox.height) == pytest.approx(height * POINTS_PER_MM, abs=0.01)


@pytest.mark.parametrize(("paper", "size"), [("a4", 100.0), ("letter", 100.0), ("a4", 60.0), ("a4", 25.0),
                                             ("letter", 131.0)])
def test_every_marker_is_detected_at_its_true_size(paper: str, size: float) -> None:
    settings = MarkerSheetSettings(paper=paper, size=size, count=5, first_id=7)
    found = {}
    for page in rasterised(marker_sheet_pdf(settings)):
        found |= detected(page)
    assert sorted(found) == [7, 10, 11, 12, 13]  # 8 and 9 look the same in a mirror
    for corners in found.values():
        sides = np.hypot(*(np.roll(corners, -1, axis=0) - corners).T) * MM_PER_PX
        np.testing.assert_allclose(sides, size, atol=0.15)  # [mm], about a pixel at 200 dpi


def test_all_markers_that_tell_a_mirrored_photo_are_read_with_their_crosses() -> None:
    telling = [i for i in range(IDS) if tells_mirror(i)]
    pages = rasterised(marker_sheet_pdf(MarkerSheetSettings(size=40.0, count=len(telling))))
    assert sorted(i for page in pages for i in detected(page)) == telling


@pytest.mark.parametrize("marker_id", [0, 10, 23, 49])
def test_cells_are_those_of_the_dictionary(marker_id: int) -> None:
    """Cell by cell against cv2.aruco.generateImageMarker (independent)."""
    page = rasterised(marker_sheet_pdf(MarkerSheetSettings(count=1, first_id=marker_id)))[0]
    corners = detected(page)[marker_id].astype(np.float32)
    square = np.array([[0, 0], [6, 0], [6, 6], [0, 6]], np.float32)
    to_page = cv2.getPerspectiveTransform(square, corners)
    # the corner of each cell farthest from the marker's centre keeps clear of the cross
    middles = np.array([(c + 0.5 + 0.25 * np.sign(c - 2.5), r + 0.5 + 0.25 * np.sign(r - 2.5))
                        for r in range(6) for c in range(6)])
    at = np.round(cv2.perspectiveTransform(middles[None].astype(np.float32), to_page)[0]).astype(int)
    drawn = page[at[:, 1], at[:, 0]].reshape(6, 6) > 127
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    np.testing.assert_array_equal(drawn, cv2.aruco.generateImageMarker(dictionary, marker_id, 6) > 127)


@pytest.mark.parametrize("marker_id", [0, 10, 1, 23])
def test_the_cross_marks_the_exact_centre_and_can_be_seen(marker_id: int) -> None:
    page = rasterised(marker_sheet_pdf(MarkerSheetSettings(count=1, first_id=marker_id)))[0]
    centre = detected(page)[marker_id].mean(axis=0)
    x, y = np.round(centre).astype(int)
    reach = round(1.5 / MM_PER_PX)
    for line in (page[y - round(4 / MM_PER_PX), x - reach : x + reach + 1],  # across the upper arm
                 page[y - reach : y + reach + 1, x - round(4 / MM_PER_PX)]):  # across the left arm
        dark = np.flatnonzero(line[reach - 5 : reach + 6] < 128)
        bright = np.flatnonzero(line > 200)
        assert len(dark) and len(bright) >= 4  # a black core in a white band
        core = dark.mean() - 5
        assert abs(core) * MM_PER_PX < 0.2  # [mm]
    assert page[y, x] < 128


def test_the_bars_are_one_hundred_millimetres_and_four_inches() -> None:
    with pdfplumber.open(io.BytesIO(marker_sheet_pdf(MarkerSheetSettings(paper="letter", count=1)))) as pdf:
        page = pdf.pages[0]
        across = [abs(line["x1"] - line["x0"]) / POINTS_PER_MM for line in page.lines]
        upright = [abs(line["bottom"] - line["top"]) / POINTS_PER_MM for line in page.lines]
    for lengths in (across, upright):
        for wanted in (100.0, 101.6):  # geometric: 4 * 25.4
            assert min(abs(length - wanted) for length in lengths) < 0.01


def test_words_on_the_sheet() -> None:
    with pdfplumber.open(io.BytesIO(marker_sheet_pdf(MarkerSheetSettings(size=80.0, count=2)))) as pdf:
        text = "\n".join(page.extract_text() for page in pdf.pages)
        for page in pdf.pages:
            for word in page.extract_words():  # nothing in the printer's dead margin or off the page
                assert word["x0"] > 5 * POINTS_PER_MM and word["x1"] < page.width - 5 * POINTS_PER_MM
                assert word["top"] > 5 * POINTS_PER_MM and word["bottom"] < page.height - 5 * POINTS_PER_MM
    for words in ("Print at 100 %", "--marker-size", "Marker 0", "Marker 1", "80 mm", "prick"):
        assert words in text


def test_same_settings_same_bytes() -> None:
    settings = MarkerSheetSettings(count=2)
    assert marker_sheet_pdf(settings) == marker_sheet_pdf(settings)


@pytest.mark.parametrize(("changes", "word"), [
    ({"size": 200.0}, "200 mm"), ({"size": LEAST_SIZE - 1}, "19 mm"), ({"count": 0}, "0 markers"),
    ({"count": 51}, "0 to 49"), ({"first_id": 48}, "48 to 51"), ({"count": IDS}, "0 to 53"), ({"first_id": -1}, "-1"),
    ({"size": float("nan")}, "nan")])
def test_what_cannot_be_printed(changes: dict[str, float], word: str) -> None:
    with pytest.raises(SheetError) as caught:
        marker_sheet_pdf(MarkerSheetSettings().with_changes(**changes))
    assert word in str(caught.value) and str(caught.value).endswith(".")
