"""Keys on the review page: every step by mouse and by keyboard, its effect seen in the job's files.

Expected places are geometric: what the hand did, in slab millimetres. A place on
the screen is a whole pixel, so that places are compared to a pixel's worth.
"""

from __future__ import annotations

from math import hypot
from typing import Any

import pytest
from shapely import LineString, Point

from tests.review.page_driver import Page


def _at(page: Page, place: Any, within: float) -> dict[str, Any]:
    """The key of plan.json that is at a place. [mm]"""
    keys = page.plan()["keys"]
    gaps = [hypot(k["centre"][0] - place[0], k["centre"][1] - place[1]) for k in keys]
    assert min(gaps) < within, f"no key within {within} mm of {place}: {[k['centre'] for k in keys]}"
    return dict(keys[gaps.index(min(gaps))])


def _own(page: Page) -> list[dict[str, Any]]:
    """The keys that are the maker's word in edits.json."""
    keys = page.review.edits().get("keys", {})
    return [*keys.get("fix", []), *keys.get("add", [])]


def _pixel(page: Page) -> float:
    """Millimetres a screen pixel."""
    return 1.0 / float(page.run("return bench.stage.view.pxPerMm"))


def _line_of(page: Page, key: dict[str, Any]) -> LineString:
    cracks = {c["id"]: c for c in page.state()["survey"]["cracks"]}
    return LineString(cracks[key["cracks"][0]]["centreline"])


def test_the_page_shows_the_plan(page: Page) -> None:
    shown = [(k["id"], k["centre"]) for k in page.state()["plan"]["keys"]]
    assert shown == [(k["id"], pytest.approx(k["centre"], abs=0.01)) for k in page.plan()["keys"]]
    rows = page.run("return [...document.querySelectorAll('.rows .row .id')].map((each) => each.textContent)")
    assert rows == [name for name, _ in shown]


def test_a_click_on_a_key_chooses_it_and_opens_its_card(page: Page) -> None:
    key = page.key(-1)
    page.click(key["centre"])
    assert page.chosen() == ["key", key["id"]]
    assert page.named(f"row-{key['id']}").get_attribute("aria-expanded") == "true"


def test_a_key_dragged_stays_where_it_was_put(page: Page) -> None:
    key = page.key()
    page.look_at(key["centre"])
    end = [key["centre"][0] + 25.0, key["centre"][1] + 14.0]
    page.drag(key["centre"], end)
    page.settled_version(page.state()["version"] - 1)
    page.wait(lambda: _own(page), "edits.json holds the move")
    within = 2 * _pixel(page)
    assert _own(page)[-1]["centre"] == pytest.approx(end, abs=within)
    assert _at(page, end, within)["from"] == "fixed"
    assert page.chosen()[0] == "key"


def test_checks_are_live_while_a_key_is_dragged(page: Page) -> None:
    key = page.key()
    page.look_at(key["centre"])
    end = [key["centre"][0] + 20.0, key["centre"][1]]
    page.drag(key["centre"], end, let_go=False)
    page.wait(lambda: page.run("return !document.getElementById('live').hidden"), "the checks are shown")
    words = page.run("return document.getElementById('live').textContent")
    assert key["id"] in words and ("check" in words or "cannot" in words)
    assert page.review.edits().get("keys", {}).get("fix", []) == []  # nothing is saved while it hangs in the hand
    page.type("Escape")
    page.let_go(page.on_screen(end))
    page.settle()
    assert not page.state()["can_undo"]


def test_margins_are_drawn_while_dragging(page: Page) -> None:
    """The band along the slab's edge appears: the pixels just inside the edge change colour."""
    key, outline = page.key(), page.state()["survey"]["outline"]
    # Just inside the edge, seen from the middle of the slab.
    corner, middle = outline[len(outline) // 4], [sum(p[i] for p in outline) / len(outline) for i in (0, 1)]
    away = hypot(middle[0] - corner[0], middle[1] - corner[1])
    spot = [corner[i] + (middle[i] - corner[i]) * 6.0 / away for i in (0, 1)]
    page.run("bench.stage.view.zoomAt(bench.stage.view.toScreen(given[0]), 2)", spot)
    pixel = ("await new Promise(requestAnimationFrame); await new Promise(requestAnimationFrame);"
             "const [x, y] = bench.stage.view.toScreen(given[0]);"
             "return [...bench.stage.over.getImageData(x, y, 1, 1).data]")
    before = page.run(pixel, spot)
    page.run("const key = bench.job.state.plan.keys[0]; bench.stage.live.drag = { kind: 'key', key, centre: key.centre,"
             "angle: key.angle_deg, ok: true }; bench.stage.refresh(true)")
    assert page.run(pixel, spot) != before
    assert key["checks"]


@pytest.mark.parametrize("held", ["Shift", "Alt"])
def test_a_key_dragged_with_shift_goes_along_its_crack_and_with_alt_across_it(page: Page, held: str) -> None:
    key = page.key()
    line = _line_of(page, key)
    page.look_at(key["centre"])
    end = [key["centre"][0] + 15.0, key["centre"][1] + 9.0]
    page.drag(key["centre"], end, held=held)
    page.wait(lambda: _own(page), "edits.json holds the move")
    put = _own(page)[-1]["centre"]
    if held == "Shift":
        # Points of the page's crack lie within 0.15 mm of the survey's.
        assert line.distance(Point(put)) < 0.3
    else:
        foot = line.project(Point(key["centre"]))
        a, b = line.interpolate(max(foot - 8, 0)), line.interpolate(foot + 8)
        along = ((b.x - a.x), (b.y - a.y))
        step = (put[0] - key["centre"][0], put[1] - key["centre"][1])
        # Square to the crack, whose direction over a few points is only known to some degrees.
        assert abs(along[0] * step[0] + along[1] * step[1]) < 0.35 * hypot(*along) * hypot(*step)


def test_the_handle_turns_a_key(page: Page) -> None:
    key = page.key()
    page.look_at(key["centre"])
    page.click(key["centre"])
    start = page.run("const { view } = bench.stage; const key = bench.chosen.key;"
                     "const { turnHandle } = await import('/page/scene.js');"
                     "const box = bench.stage.canvas.getBoundingClientRect();"
                     "const [, [x, y]] = turnHandle(view, key, { centre: key.centre, angle: key.angle_deg });"
                     "return [x + box.left, y + box.top]")
    x, y = page.on_screen(key["centre"])
    # A quarter turn anticlockwise about the centre would be too much for most cracks: 20 degrees, y down.
    c, s = 0.9396926, 0.3420201
    end = (x + c * (start[0] - x) + s * (start[1] - y), y - s * (start[0] - x) + c * (start[1] - y))
    page.drag_on_screen(start, end)
    page.wait(lambda: _own(page), "edits.json holds the turn")
    turned = (_own(page)[-1]["angle_deg"] - key["angle_deg"] + 180) % 360 - 180
    assert turned == pytest.approx(20.0, abs=0.5)  # half a degree is a pixel at the handle


@pytest.mark.parametrize(("chord", "step"), [("ArrowRight", (1, 0)), ("Shift+ArrowUp", (0, 10)),
                                             ("Alt+ArrowLeft", (-0.1, 0)), ("ArrowDown", (0, -1))])
def test_arrow_keys_move_the_chosen_key(page: Page, chord: str, step: tuple[float, float]) -> None:
    key = page.key()
    page.pick("key", key["id"])
    page.type(chord)
    page.wait(lambda: _own(page), "edits.json holds the move")
    wanted = [key["centre"][0] + step[0], key["centre"][1] + step[1]]
    assert _own(page)[-1]["centre"] == pytest.approx(wanted, abs=0.006)  # files hold hundredths at least


def test_quick_arrow_keys_all_count(page: Page) -> None:
    key = page.key()
    page.pick("key", key["id"])
    page.type(*["ArrowRight"] * 7)
    page.settle()
    assert _own(page)[-1]["centre"] == pytest.approx([key["centre"][0] + 7, key["centre"][1]], abs=0.006)


@pytest.mark.parametrize(("chord", "by"), [("r", 5.0), ("Shift+R", -5.0), ("Alt+r", 0.5)])
def test_r_turns_the_chosen_key(page: Page, chord: str, by: float) -> None:
    key = page.key()
    page.pick("key", key["id"])
    page.type(chord)
    page.wait(lambda: _own(page), "edits.json holds the turn")
    turned = (_own(page)[-1]["angle_deg"] - key["angle_deg"] + 180) % 360 - 180
    assert turned == pytest.approx(by, abs=0.01)


def test_buttons_slide_a_key_along_its_crack(page: Page) -> None:
    key = page.key()
    page.pick("key", key["id"])
    page.choose("nudge-step", "10")
    page.press("nudge-on")
    page.wait(lambda: _own(page), "edits.json holds the move")
    put = _own(page)[-1]["centre"]
    assert hypot(put[0] - key["centre"][0], put[1] - key["centre"][1]) == pytest.approx(10.0, abs=0.02)


def test_figures_place_a_key(page: Page) -> None:
    key = page.key()
    page.pick("key", key["id"])
    page.fill("key-x", f"{key['centre'][0] + 3.5:.1f}")
    page.settled_version(0)
    page.wait(lambda: _own(page), "edits.json holds the move")
    assert _own(page)[-1]["centre"][0] == pytest.approx(key["centre"][0] + 3.5, abs=0.051)  # shown to a tenth


def test_a_size_is_chosen_from_the_family(page: Page) -> None:
    key, sizes = page.key(), page.state()["choices"]["sizes"]
    other = next(s for s in sizes if s["name"] != key["size"])
    page.pick("key", key["id"])
    page.choose("size", other["name"])
    page.wait(lambda: _own(page), "edits.json holds the size")
    assert _at(page, key["centre"], 1.0)["length"] == pytest.approx(other["length"], abs=0.01)


def test_s_goes_to_the_next_smaller_size_and_back(page: Page) -> None:
    sizes = sorted(s["length"] for s in page.state()["choices"]["sizes"])
    key = max(page.state()["plan"]["keys"], key=lambda k: float(k["length"]))
    smaller = [length for length in sizes if length < key["length"] - 0.05][-1]
    page.pick("key", key["id"])
    page.type("s")
    page.wait(lambda: _own(page), "edits.json holds the size")
    page.settle()
    assert _at(page, key["centre"], 1.0)["length"] == pytest.approx(smaller, abs=0.01)
    page.type("Shift+S")
    page.settle()
    assert _at(page, key["centre"], 1.0)["length"] == pytest.approx(key["length"], abs=0.01)


def test_a_key_takes_a_free_size(page: Page) -> None:
    key = page.key()
    page.pick("key", key["id"])
    page.fill("key-length", f"{key['length'] + 6:.1f}")
    page.wait(lambda: _own(page), "edits.json holds the size")
    assert _at(page, key["centre"], 1.0)["length"] == pytest.approx(key["length"] + 6, abs=0.05)


def test_a_length_that_cannot_be_read_is_said_and_not_guessed(page: Page) -> None:
    page.pick("key", page.key()["id"])
    page.fill("key-length", "about 80")
    page.wait(lambda: "is not a length" in page.said("refused"), "the page says so")
    assert not page.state()["can_undo"]


def test_what_the_server_refuses_is_said_in_its_words(page: Page) -> None:
    key = page.key()
    page.pick("key", key["id"])
    page.fill("key-waist", f"{key['width'] * 3:.0f}")  # no key is waisted wider than its head
    page.wait(lambda: page.said("refused"), "the refusal is said")
    assert page.run("return document.getElementById('refused').getAttribute('role')") == "alert"
    assert not page.state()["can_undo"]


def test_a_shape_is_chosen(page: Page) -> None:
    key = page.key()
    other = next(shape for shape in ("straight", "curved") if shape != key["shape"])
    page.pick("key", key["id"])
    page.choose("shape", other)
    page.wait(lambda: _own(page), "edits.json holds the shape")
    assert _at(page, key["centre"], 1.0)["shape"] == other


def _free_place(page: Page) -> list[float]:
    """On a crack, as far as can be from every key."""
    state = page.state()
    points = [p for c in state["survey"]["cracks"] for p in c["centreline"]]
    centres = [k["centre"] for k in state["plan"]["keys"]]
    free: list[float] = max(points, key=lambda p: min(hypot(p[0] - c[0], p[1] - c[1]) for c in centres))
    return free


@pytest.mark.parametrize("by", ["mouse", "keyboard"])
def test_a_key_is_added_where_one_points(page: Page, by: str) -> None:
    place = _free_place(page)
    page.look_at(place)  # the cross of the keyboard begins in the middle of the photo
    if by == "mouse":
        page.press("way-key")
        page.click(place)
    else:
        page.type("a", "Enter")
    page.wait(lambda: page.review.edits().get("keys", {}).get("add"), "edits.json holds the key")
    added = page.review.edits()["keys"]["add"][-1]["centre"]
    # The tool sets it on the crack's line near the place.
    assert hypot(added[0] - place[0], added[1] - place[1]) < 5.0
    assert _at(page, added, 0.1)["from"] == "added"


@pytest.mark.parametrize("by", ["button", "keyboard"])
def test_a_key_is_refused(page: Page, by: str) -> None:
    key = page.key()
    page.pick("key", key["id"])
    if by == "button":
        page.press("refuse-key")
    else:
        page.type("Delete")
    page.wait(lambda: page.review.edits().get("keys", {}).get("refuse"), "edits.json holds the refusal")
    assert page.review.edits()["keys"]["refuse"][-1] == pytest.approx(key["centre"], abs=0.01)
    left = [k["centre"] for k in page.plan()["keys"]]
    assert all(hypot(x - key["centre"][0], y - key["centre"][1]) > 1.0 for x, y in left)


@pytest.mark.parametrize("by", ["button", "keyboard"])
def test_a_key_is_fixed_and_let_go(page: Page, by: str) -> None:
    key = page.key()
    page.pick("key", key["id"])
    for wanted in ("fixed", "suggested"):
        if by == "button":
            page.press("fix")
        else:
            page.type("f")
        page.settle()
        assert _at(page, key["centre"], 5.0)["from"] == wanted
    assert _own(page) == []


def test_a_plan_is_chosen_among_those_offered(page: Page) -> None:
    page.press("plans")
    page.wait(lambda: page.run("return document.querySelectorAll('.plan').length"), "plans are offered")
    others = "[...document.querySelectorAll('.plan:not([aria-current])')]"
    names = page.run(f"return {others}.map((plan) => plan.querySelector('button').dataset.name)")
    keys = page.run(f"return {others}.map((plan) => plan.querySelectorAll('.sketch .key').length)")
    page.press(names[-1])
    page.settled_version(page.state()["version"] - 1)
    page.wait(lambda: len(page.plan()["keys"]) == keys[-1], "plan.json is the plan that was sketched")


def test_solving_anew_leaves_fixed_keys(page: Page) -> None:
    key = page.key()
    page.pick("key", key["id"])
    page.type("Shift+ArrowRight")
    page.wait(lambda: _own(page), "the key is moved")
    page.settle()
    put = _own(page)[-1]["centre"]
    version = page.state()["version"]
    page.press("solve")
    page.settled_version(version)
    assert _at(page, put, 0.02)["from"] == "fixed"


def test_undo_and_redo_by_keyboard_and_button(page: Page) -> None:
    key = page.key()
    page.pick("key", key["id"])
    page.type("ArrowRight")
    page.wait(lambda: _own(page), "the key is moved")
    page.settle()
    page.type("Control+z")
    page.wait(lambda: _own(page) == [], "undone")
    page.settle()
    page.type("Control+Shift+Z")
    page.wait(lambda: _own(page), "done again")
    page.settle()
    page.press("undo")
    page.wait(lambda: _own(page) == [], "undone by the button")
    page.settle()
    page.press("redo")
    page.wait(lambda: _own(page), "done again by the button")
    page.settle()
    assert str(page.named("undo").get_attribute("title")).startswith("Undo: ")  # it says what would be undone
