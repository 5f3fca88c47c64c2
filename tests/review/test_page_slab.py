"""Cracks, areas, depths and the export on the review page; effects seen in the job's files.

Expected places are geometric: where the hand pointed, to a pixel's worth.
"""

from __future__ import annotations

import time
from math import hypot
from typing import Any

import pytest
from shapely import LineString, Point, Polygon

from tests.review.page_driver import Page


def _cracks(page: Page) -> dict[str, Any]:
    return dict(page.review.edits().get("cracks", {}))


def _middle(page: Page) -> list[float]:
    centre = Polygon(page.state()["survey"]["outline"]).representative_point()
    return [centre.x, centre.y]


def _square(page: Page, side: float) -> list[list[float]]:
    x, y = _middle(page)
    half = side / 2
    return [[x - half, y - half], [x + half, y - half], [x + half, y + half], [x - half, y + half]]


def _same_area(drawn: Any, wanted: Any) -> bool:
    """The same outline to two per cent: corners are clicked on whole pixels."""
    a, b = Polygon(drawn), Polygon(wanted)
    return bool(a.symmetric_difference(b).area < 0.02 * b.area)


def test_a_click_on_a_crack_chooses_it(page: Page) -> None:
    crack = max(page.state()["survey"]["cracks"], key=lambda c: float(c["length"]))
    keys = [Polygon(k["polygon"]) for k in page.state()["plan"]["keys"]]
    line = LineString(crack["centreline"])
    spots = [line.interpolate(share / 40, normalized=True) for share in range(1, 40)]
    spot = max(spots, key=lambda p: min(k.distance(p) for k in keys))
    page.look_at([spot.x, spot.y], 150.0)
    page.click([spot.x, spot.y])
    assert page.chosen()[0] == "crack"


@pytest.mark.parametrize("by", ["mouse", "keyboard"])
def test_a_crack_is_drawn(page: Page, by: str) -> None:
    x, y = _middle(page)
    page.look_at([x, y], 300.0)
    before = len(page.state()["survey"]["cracks"])
    if by == "mouse":
        page.press("way-crack")
        page.click([x - 30, y], [x, y + 4], [x + 30, y])
        page.type("Enter")
    else:
        page.type("c", " ", "Shift+ArrowRight", " ", "Shift+ArrowRight", " ", "Enter")
    page.wait(lambda: _cracks(page).get("draw"), "edits.json holds the crack")
    drawn = _cracks(page)["draw"][-1]
    assert len(drawn) == 3
    if by == "mouse":
        assert drawn[0] == pytest.approx([x - 30, y], abs=1.0)  # a pixel is half a millimetre here
    page.settle()
    assert len(page.state()["survey"]["cracks"]) > before


def test_escape_gives_a_drawing_up(page: Page) -> None:
    x, y = _middle(page)
    page.press("way-crack")
    page.click([x, y], [x + 30, y])
    page.type("Escape")
    assert page.run("return bench.pointing.now === null && document.getElementById('pointing').hidden")
    assert not page.state()["can_undo"]


def test_a_point_is_taken_back(page: Page) -> None:
    x, y = _middle(page)
    page.press("way-crack")
    page.click([x, y], [x + 30, y])
    page.type("Backspace")
    assert page.run("return bench.pointing.now.points.length") == 1


@pytest.mark.parametrize("by", ["button", "keyboard"])
def test_a_crack_is_refused(page: Page, by: str) -> None:
    crack = page.crack()
    page.pick("crack", crack["id"])
    if by == "button":
        page.press("refuse-crack")
    else:
        page.type("Delete")
    page.wait(lambda: _cracks(page).get("refuse"), "edits.json holds the refusal")
    place = Point(_cracks(page)["refuse"][-1])
    assert LineString(crack["centreline"]).distance(place) < crack["widest"] + 1.0


def _free_end(page: Page) -> tuple[dict[str, Any], int]:
    """The longest crack that ends in the wood, and which end."""
    cracks = [c for c in page.state()["survey"]["cracks"] if "tip" in c["ends"]]
    crack = max(cracks, key=lambda c: float(c["length"]))
    return crack, crack["ends"].index("tip")


@pytest.mark.parametrize("by", ["mouse", "keyboard"])
def test_the_end_of_a_crack_is_moved(page: Page, by: str) -> None:
    crack, end = _free_end(page)
    line = LineString(crack["centreline"])
    tip, back = [crack["centreline"][-end][i] for i in (0, 1)], line.interpolate(-25.0 if end else 25.0)
    page.pick("crack", crack["id"])
    page.look_at(tip, 250.0)
    if by == "mouse":
        page.drag(tip, [back.x, back.y])
    else:
        page.press("end-last" if end else "end-first")
        x, y = page.on_screen(tip)
        u, v = page.on_screen([back.x, back.y])
        page.run("bench.pointing.moveReticle(given[0], given[1])", u - x, v - y)
        page.type("Enter")
    page.settled_version(page.state()["version"] - 1)
    page.wait(lambda: page.state()["can_undo"], "the end is moved")
    survey = page.state()["survey"]["cracks"]
    same = min(survey, key=lambda c: LineString(c["centreline"]).distance(line.interpolate(0.5, normalized=True)))
    assert same["length"] == pytest.approx(crack["length"] - 25.0, abs=3.0)
    ends = [same["centreline"][0], same["centreline"][-1]]
    assert min(hypot(e[0] - back.x, e[1] - back.y) for e in ends) < 3.0


def test_the_two_ends_are_told_apart_by_name(page: Page) -> None:
    for crack in page.state()["survey"]["cracks"]:
        page.pick("crack", crack["id"])
        first, last = (str(page.run("return document.querySelector(`[data-name='${given[0]}']`).textContent", name))
                       for name in ("end-first", "end-last"))
        start, end = crack["centreline"][0], crack["centreline"][-1]
        along = 0 if abs(end[0] - start[0]) >= abs(end[1] - start[1]) else 1
        words = ("left", "right") if along == 0 else ("lower", "upper")
        assert [word in first for word in words] == [end[along] >= start[along], end[along] < start[along]]
        assert [word in last for word in words] == [end[along] < start[along], end[along] >= start[along]]


def test_keys_are_asked_for_on_a_crack(page: Page) -> None:
    crack = max(page.state()["survey"]["cracks"], key=lambda c: float(c["length"]))
    page.pick("crack", crack["id"])
    page.fill("key-count", "1")
    page.wait(lambda: page.review.edits().get("keys", {}).get("count"), "edits.json holds the wish")
    assert page.review.edits()["keys"]["count"][-1]["keys"] == 1
    page.settle()
    page.press("count-open")
    page.wait(lambda: page.review.edits()["keys"]["count"][-1]["keys"] == 0, "it is left open")
    page.settle()
    assert not any(crack["id"] in k["cracks"] for k in page.plan()["keys"])
    page.press("count-free")
    page.wait(lambda: not page.review.edits().get("keys", {}).get("count"), "it is as suggested")


def test_a_probed_depth_is_noted_by_pointing(page: Page) -> None:
    crack = max(page.state()["survey"]["cracks"], key=lambda c: float(c["length"]))
    place = LineString(crack["centreline"]).interpolate(0.5, normalized=True)
    page.look_at([place.x, place.y], 250.0)
    page.press("way-probe")
    page.click([place.x, place.y])
    page.fill("probe-depth", "17mm")
    page.wait(lambda: _cracks(page).get("depth"), "edits.json holds the depth")
    noted = _cracks(page)["depth"][-1]
    assert noted["depth"] == 17.0
    assert noted["at"] == pytest.approx([place.x, place.y], abs=1.0)


def test_a_probed_depth_is_noted_and_taken_away_in_the_list(page: Page) -> None:
    crack = page.crack()
    page.pick("crack", crack["id"])
    page.fill(f"depth-{crack['id']}", "12.5")
    page.wait(lambda: _cracks(page).get("depth"), "edits.json holds the depth")
    page.settle()
    item = next(i for i in page.state()["resin"]["items"] if i["id"] == crack["id"])
    assert item["depth_from"] == "probed"
    assert _cracks(page)["depth"][-1]["depth"] == 12.5
    assert page.named(f"depth-{crack['id']}").get_attribute("value") == "12.5"
    page.press(f"depth-{crack['id']}-away")
    page.wait(lambda: not _cracks(page).get("depth"), "the depth is gone")


def test_the_finished_top_is_drawn_and_taken_away(page: Page) -> None:
    corners = _square(page, 160.0)
    page.look_at(_middle(page), 500.0)
    page.press("way-top")
    page.click(*corners)
    page.press("point-finish")
    page.wait(lambda: page.review.edits().get("finished_top"), "edits.json holds the top")
    assert _same_area(page.review.edits()["finished_top"], corners)
    page.settle()
    page.press("tab-slab")
    page.press("top-away")
    page.wait(lambda: not page.review.edits().get("finished_top"), "the top is gone")


def test_the_slab_edge_is_drawn(page: Page) -> None:
    survey = Polygon(page.state()["survey"]["outline"])
    corners = [list(p) for p in survey.minimum_rotated_rectangle.buffer(-15).exterior.coords[:-1]]
    page.press("tab-slab")
    page.press("draw-edge")
    page.click(*corners)
    page.type("Enter")
    page.wait(lambda: page.review.edits().get("outline"), "edits.json holds the edge")
    assert _same_area(page.review.edits()["outline"], corners)


def test_a_base_plate_with_screws_is_kept_out_and_freed(page: Page) -> None:
    corners, (x, y) = _square(page, 80.0), _middle(page)
    page.look_at([x, y], 300.0)
    page.press("way-keep_out")
    page.click(*corners)
    page.type("Enter")
    page.press("keep-out-screws")
    page.click([x - 20, y], [x + 20, y])
    page.press("point-finish")
    page.named("keep-out-note").send_keys("leg plate")
    page.choose("keep-out-from", "below")
    page.fill("keep-out-depth", "20mm")
    page.wait(lambda: page.review.edits().get("keep_out"), "edits.json holds the area")
    area = page.review.edits()["keep_out"][-1]
    assert _same_area(area["area"], corners)
    assert (area["from"], area["depth"], area["note"]) == ("below", 20.0, "leg plate")
    assert [each for screw in area["screws"] for each in screw] == pytest.approx([x - 20, y, x + 20, y], abs=1.0)
    page.settle()
    page.press("tab-slab")
    page.press("keep-out-away-0")
    page.wait(lambda: not page.review.edits().get("keep_out"), "the area is free")


def test_a_note_with_markup_stays_text(page: Page) -> None:
    note = "<img src=x onerror=document.title='pwned'><b>plate</b>"
    page.run("await bench.steps.addKeepOut(given[0], { from: 'above', depth: null, note: given[1], screws: [] })",
             _square(page, 60.0), note)
    page.press("tab-slab")
    page.wait(lambda: note in page.run("return document.getElementById('panel').textContent"), "the note is shown")
    assert page.run("return document.querySelectorAll('#panel img, #panel b').length") == 0
    assert "pwned" not in page.driver.title


def test_before_and_after_are_compared(page: Page) -> None:
    page.press("compare")
    page.wait(lambda: page.run("return document.querySelector('.pair.ready') !== null"), "the finished look is drawn")
    sizes = page.run("return [...document.querySelectorAll('.pair img')].map((i) => [i.naturalWidth, i.naturalHeight])")
    assert sizes[0] == sizes[1] and sizes[0][0] > 300
    before = page.run("return document.querySelectorAll('.pair img')[1].style.clipPath")
    page.named("divider").send_keys("\ue014" * 5)  # arrow to the right
    assert page.run("return document.querySelectorAll('.pair img')[1].style.clipPath") != before
    page.type("Escape")
    assert page.run("return document.getElementById('compare').hidden")


def test_export_writes_and_says_where(page: Page) -> None:
    before = time.time()
    page.press("export")
    page.wait(lambda: page.run("return document.querySelector('dialog .files') !== null"), "it says what was written")
    said = page.run("return document.querySelector('dialog').textContent")
    assert str(page.review.folder) in said
    for name in ("slab.dxf", "keys.dxf", "setting-out.pdf"):
        assert name in said
        assert (page.review.folder / name).stat().st_mtime > before - 1
