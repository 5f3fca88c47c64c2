"""The review page for every maker: fingers, screen readers, both themes, both units, a second window, small screens."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from crackmap.errors import LengthError
from crackmap.units import parse_length, show_fraction
from tests.review.page_driver import Page, set_size

ROOT = Path(__file__).resolve().parents[2]
SCREENS = [(1280, 800), (1920, 1080), (1024, 768)]
_TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
_LOOKS = {
    "the keys": "bench.chosen.pick('key', bench.job.state.plan.keys[0].id, 'list')",
    "the cracks": "bench.chosen.pick('crack', bench.job.state.survey.cracks[0].id, 'list')",
    "the slab": "document.getElementById('tab-slab').click()",
    "the resin": "document.getElementById('tab-resin').click()",
    "the help": "document.querySelector('[data-name=help]').click()",
    "pointing": "bench.point('crack')",
}


@pytest.fixture
def tablet(page: Page) -> Iterator[Page]:
    """The page on a tablet: 1024 x 768 and fingers."""
    set_size(page.driver, 1024, 768, touch=True)
    page.touching = True
    page.run("await new Promise((done) => setTimeout(done, 60)); bench.stage.showAll();"
             "await new Promise(requestAnimationFrame)")
    yield page
    page.touching = False
    set_size(page.driver, 1280, 800)


def _axe() -> str:
    """axe-core's text: CRACKMAP_AXE names it, or `npm install --no-save axe-core@4.14.1` puts it here."""
    named = os.environ.get("CRACKMAP_AXE")
    path = Path(named) if named else ROOT / "node_modules" / "axe-core" / "axe.min.js"
    if not path.is_file():
        pytest.skip("axe-core is not installed: npm install --no-save axe-core@4.14.1")
    return path.read_text(encoding="utf-8")


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("look", _LOOKS)
def test_axe_finds_nothing(page: Page, look: str, theme: str) -> None:
    """Independent: axe-core's own rules, contrast among them; any finding fails, not only serious ones."""
    source = _axe()
    page.run("const { theme, switchTheme } = await import('/page/theme.js'); if (theme() !== given[0]) switchTheme();"
             + _LOOKS[look], theme)
    page.driver.execute_script(source)
    found = page.driver.execute_async_script(
        "const done = arguments[arguments.length - 1];"
        "axe.run(document, { runOnly: arguments[0] }).then((r) => done(r.violations.map("
        "(v) => [v.id, v.impact, v.nodes.map((n) => n.html.slice(0, 160) + ' ' + n.failureSummary)])))", _TAGS)
    assert found == []


def test_every_button_and_field_has_a_name_and_is_reached_by_tab(page: Page) -> None:
    page.pick("key", page.key()["id"])
    page.run("document.querySelector('.skip').focus()")
    reached: set[str] = set()
    for _ in range(80):
        page.chord("Tab")
        name = page.run("const e = document.activeElement; return e === document.body ? null : e.dataset.name ?? e.id")
        if name is None and reached:
            break
        reached.add(str(name))
    wanted = {"stage", "export", "compare", "units", "help", "tab-keys", "add-key", "plans", "solve", "fix",
              "refuse-key", "size", "shape", "key-length", "key-x", "key-angle", "nudge-on", "nudge-right", "way-key",
              "zoom-in"}
    assert wanted <= reached


def test_arrow_keys_go_through_lists_tabs_and_the_strip(page: Page) -> None:
    focus = "return document.activeElement.dataset.name"
    keys = [k["id"] for k in page.state()["plan"]["keys"]]
    page.run("document.querySelector('.row').focus()")
    page.chord("ArrowDown")
    assert page.run(focus) == f"row-{keys[1]}"
    page.chord("Enter")
    assert page.chosen() == ["key", keys[1]]
    page.run("document.getElementById('tab-keys').focus()")
    page.chord("ArrowRight")
    assert page.run(focus) == "tab-cracks"
    page.run("document.querySelector('[data-name=way-key]').focus()")
    page.chord("ArrowRight")
    assert page.run(focus) == "way-crack"


def test_n_and_b_go_through_the_keys_and_escape_chooses_nothing(page: Page) -> None:
    keys = [k["id"] for k in page.state()["plan"]["keys"]]
    page.type("n", "n", "b", "n")
    assert page.chosen() == ["key", keys[1]]
    page.type("Escape")
    assert page.chosen() == [None, None]


def test_letters_do_nothing_while_a_field_has_the_focus(page: Page) -> None:
    page.pick("key", page.key()["id"])
    page.named("key-length").send_keys("fsr")
    assert not page.state()["can_undo"]


def test_help_opens_by_question_mark_and_gives_the_focus_back(page: Page) -> None:
    page.type("?")
    assert page.run("return document.querySelector('dialog[open] h2').textContent").startswith("Keys of the keyboard")
    page.press("dialog-close")
    page.wait(lambda: page.run("return document.activeElement.id") == "stage", "the focus is back on the photo")


def test_a_message_is_in_a_live_region(page: Page) -> None:
    page.pick("key", page.key()["id"])
    page.type("ArrowUp")
    page.wait(lambda: "moved" in page.said(), "the move is said")
    assert page.run("return document.getElementById('said').getAttribute('aria-live')") == "polite"


def test_the_theme_is_kept(page: Page) -> None:
    before = page.run("return document.documentElement.dataset.theme")
    page.press("theme")
    after = page.run("return document.documentElement.dataset.theme")
    assert {before, after} == {"light", "dark"}
    page.open()
    assert page.run("return document.documentElement.dataset.theme") == after


def test_lengths_in_inches(page: Page) -> None:
    key = page.key()
    page.pick("key", key["id"])
    page.press("units")
    try:
        shown = page.named("key-length").get_attribute("value")
        # Independent: crackmap.units writes the same fraction.
        assert f"{shown} in" == show_fraction(key["length"], 16)
        page.fill("key-length", "3-1/4")
        page.settle()
        lengths = [k["length"] for k in page.plan()["keys"]]
        assert any(length == pytest.approx(3.25 * 25.4, abs=0.01) for length in lengths)
    finally:
        page.press("units")


@pytest.mark.parametrize("text", ["45mm", "4.5cm", "1.75in", "1-3/4in", '1 3/4"', "3/8 in", "-12,5mm", "1/0in", "mm",
                                  "4 5mm", ".5in", "2 inches", "1e3mm", ""])
def test_lengths_are_read_as_on_the_command_line(page: Page, text: str) -> None:
    """Independent: crackmap.units reads the same texts."""
    try:
        wanted: float | None = parse_length(text)
    except LengthError:
        wanted = None
    read = page.run("const { parse } = await import('/page/lengths.js'); const mm = parse(given[0]);"
                    "return Number.isNaN(mm) ? null : mm", text)
    assert read == (None if wanted is None else pytest.approx(wanted, rel=1e-12))


def test_slab_to_screen_and_back(page: Page) -> None:
    """Geometric: the way there and back ends where it began; a millimetre is as long as the view says."""
    page.look_at([50.0, 20.0], 123.0)
    there_and_back, step = page.run(
        "const { view } = bench.stage; const [a, b] = [view.toScreen([10, 20]), view.toScreen([11, 20])];"
        "return [view.toSlab(view.toScreen([12.5, -34.5])), [Math.hypot(b[0] - a[0], b[1] - a[1]), view.pxPerMm]]")
    assert there_and_back == pytest.approx([12.5, -34.5], abs=1e-9)
    assert step[0] == pytest.approx(step[1], rel=1e-9)


def test_zooming_keeps_the_place_under_the_pointer(page: Page) -> None:
    x, y = 300, 400  # a pointer's place is whole pixels
    place = page.run("const box = bench.stage.canvas.getBoundingClientRect();"
                     "return bench.stage.view.toSlab([given[0] - box.left, given[1] - box.top])", x, y)
    before = page.run("return bench.stage.view.zoom")
    page.driver.execute_cdp_cmd("Input.dispatchMouseEvent", {
        "type": "mouseWheel", "x": x, "y": y, "deltaX": 0, "deltaY": -240})
    page.wait(lambda: page.run("return bench.stage.view.zoom") > 1.3 * before and
              page.run("return bench.stage.view.goal === null"), "the zoom has ended")
    assert page.on_screen(place) == pytest.approx((x, y), abs=0.01)


def test_the_photo_is_drawn_in_full_sharpness(page: Page) -> None:
    """Independent: a tile of level 0 as the server sends it, against the canvas at one screen pixel a picture pixel."""
    differ = page.run("""
        const { stage, job } = bench; const { view } = stage;
        view.zoom = 1; view.origin = [-512, -512]; stage.refresh();
        const there = () => stage.tiles.kept.get('0/1/1')?.bitmap && !stage.due;
        for (let i = 0; i < 200 && !there(); i++) await new Promise((done) => setTimeout(done, 30));
        stage.refresh(); await new Promise(requestAnimationFrame); await new Promise(requestAnimationFrame);
        const blob = await (await fetch('/tile/0/1/1')).blob();
        const bitmap = await createImageBitmap(blob);
        const other = new OffscreenCanvas(bitmap.width, bitmap.height).getContext('2d');
        other.drawImage(bitmap, 0, 0);
        const [a, b] = [stage.under, other].map((context) => context.getImageData(0, 0, 200, 200).data);
        let sum = 0;
        for (let i = 0; i < a.length; i++) sum += Math.abs(a[i] - b[i]);
        return sum / a.length""")
    assert differ < 0.5  # of 255; equal but for the drawing's rounding


def test_fingers_choose_pan_pinch_and_drag(tablet: Page) -> None:
    page, key = tablet, tablet.key()
    origin = page.run("return bench.stage.view.origin")
    start = page.on_screen(key["centre"])
    page.drag_on_screen(start, (start[0] - 60, start[1] - 30))  # a key not chosen stays: the photo is panned
    moved = page.run("return bench.stage.view.origin")
    assert (moved[0] - origin[0], moved[1] - origin[1]) == pytest.approx((-60, -30), abs=10)
    assert not page.state()["can_undo"]
    page.look_at(key["centre"])
    page.click(key["centre"])
    assert page.chosen() == ["key", key["id"]]
    page.drag(key["centre"], [key["centre"][0] + 20, key["centre"][1]])
    page.wait(lambda: page.review.edits().get("keys", {}).get("fix"), "the chosen key is moved")


def test_two_fingers_zoom(tablet: Page) -> None:
    page = tablet
    before = page.run("return bench.stage.view.zoom")
    x, y = page.on_screen(page.run("return bench.stage.view.toSlab(bench.stage.view.size.map((side) => side / 2))"))
    for kind, apart in [("touchStart", [40]), ("touchMove", [60]), ("touchMove", [80]), ("touchEnd", [])]:
        points = [{"x": x + side * a, "y": y, "id": n} for a in apart for n, side in enumerate((-1, 1))]
        page.driver.execute_cdp_cmd("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})
    assert page.run("return bench.stage.view.zoom") == pytest.approx(2 * before, rel=0.02)


def test_targets_are_large_enough_for_fingers(tablet: Page) -> None:
    page = tablet
    page.pick("key", page.key()["id"])
    small = page.run("return [...document.querySelectorAll('button:not(.link), select, input')]"
                     ".filter((e) => e.offsetParent)"
                     ".map((e) => [e.dataset.name ?? e.textContent, e.offsetWidth, e.offsetHeight])"
                     ".filter(([, w, h]) => h < 44 || w < 44)")
    assert small == []


@pytest.mark.parametrize(("width", "height"), SCREENS)
def test_nothing_is_cut_off(page: Page, width: int, height: int) -> None:
    set_size(page.driver, width, height)
    page.pick("key", page.key()["id"])
    beyond = page.run("return [...document.querySelectorAll('button, input, select')].filter((e) => e.offsetParent)"
                      ".map((e) => [e.dataset.name, e.getBoundingClientRect()])"
                      ".filter(([, box]) => box.right > innerWidth + 1 || box.left < 0).map(([name]) => name)")
    set_size(page.driver, 1280, 800)
    assert beyond == []


def _as_another_window(page: Page) -> None:
    page.run("const { state } = bench.job; await fetch('/change', { method: 'POST',"
             "headers: { 'Content-Type': 'application/json' }, body: JSON.stringify({ version: state.version,"
             "action: { do: 'fix_key', key: state.plan.keys[0].id, fixed: true } }) })")


def test_a_window_that_is_behind_is_told_and_takes_the_newer_state(page: Page) -> None:
    keys = page.state()["plan"]["keys"]
    page.pick("key", keys[-1]["id"])
    version = page.state()["version"]
    _as_another_window(page)
    page.type("Shift+ArrowUp")
    page.wait(lambda: page.said("refused"), "it is told")
    state = page.state()
    assert state["version"] > version
    assert state["plan"]["keys"][-1]["centre"] == keys[-1]["centre"]  # its own step was not taken
    assert any(k["origin"] == "fixed" for k in state["plan"]["keys"])


def test_coming_back_to_a_window_shows_what_another_did(page: Page) -> None:
    _as_another_window(page)
    page.run("dispatchEvent(new Event('focus'))")
    page.wait(lambda: "Another window" in page.said("refused"), "it is told")
    assert any(k["origin"] == "fixed" for k in page.state()["plan"]["keys"])


def test_the_page_asks_nobody_else_and_breaks_no_rule_of_its_own(page: Page) -> None:
    asked: list[Any] = page.run("return performance.getEntriesByType('resource').map((e) => new URL(e.name).host)")
    assert set(asked) == {page.run("return location.host")}
    severe = [entry for entry in page.driver.get_log("browser")  # type: ignore[no-untyped-call]
              if entry["level"] == "SEVERE" and " 409 " not in entry["message"] and " 422 " not in entry["message"]]
    assert severe == []
