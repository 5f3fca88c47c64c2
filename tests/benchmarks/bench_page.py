"""The review page's own work: time to a usable page, a frame while panning, zooming and dragging, a move's answer.

    python -m tests.benchmarks.bench_page JOB_FOLDER [--frames N]

Reads the page's performance marks in headless Chromium, on a copy of the job. Own
work a frame is what the page's scripts spend, tiles and drawing included; what the
browser needs to put the frame on the screen is not in it. Wall times: measure on a
quiet machine.
"""

from __future__ import annotations

import argparse
import shutil
import statistics
import tempfile
import time
from pathlib import Path

from tests.review.page_driver import Page, Review, start_browser

_GOALS = {"usable page [s]": 2.0, "frame, panning [ms]": 8.0, "frame, zooming [ms]": 8.0,
          "frame, dragging a key [ms]": 8.0, "try while dragging [ms]": 150.0, "move to answer [ms]": 150.0}


def _durations(page: Page, name: str) -> list[float]:
    return list(page.run("const all = performance.getEntriesByName(given[0]).map((entry) => entry.duration);"
                         "performance.clearMeasures(given[0]); return all", name))


def _pan(page: Page, frames: int) -> list[float]:
    page.look_at(page.key()["centre"], 500.0)
    time.sleep(1.0)  # the tiles in sight come first: what is measured is steady panning
    _durations(page, "frame")
    page.run("const { stage } = bench; for (let i = 0; i < given[0]; i++) {"
             "stage.view.panBy(i % 40 < 20 ? 9 : -9, i % 26 < 13 ? 5 : -5); stage.refresh();"
             "await new Promise(requestAnimationFrame) }", frames)
    return _durations(page, "frame")


def _zoom(page: Page, frames: int) -> list[float]:
    page.run("const { stage } = bench; const middle = stage.view.size.map((side) => side / 2);"
             "for (let i = 0; i < given[0]; i++) { stage.view.zoomAt(middle, i % 40 < 20 ? 1.06 : 1 / 1.06);"
             "stage.refresh(); await new Promise(requestAnimationFrame) }", frames)
    return _durations(page, "frame")


def _drag(page: Page, frames: int) -> tuple[list[float], list[float]]:
    key = page.key()
    page.look_at(key["centre"], 500.0)
    _durations(page, "frame")
    page.drag(key["centre"], [key["centre"][0] + 8, key["centre"][1] + 5], let_go=False)
    x, y = page.on_screen(key["centre"])
    for i in range(frames):
        page.driver.execute_cdp_cmd("Input.dispatchMouseEvent", {
            "type": "mouseMoved", "x": x + i % 30, "y": y + i % 17, "button": "left", "buttons": 1})
    own = _durations(page, "frame")
    page.type("Escape")
    page.let_go((x, y))
    return own, _durations(page, "try")


def _moves(page: Page, count: int = 15) -> list[float]:
    page.pick("key", page.key()["id"])
    _durations(page, "change")
    for i in range(count):
        page.type("ArrowRight" if i % 2 else "ArrowLeft")
        page.settle()
    return _durations(page, "change")


def measure(job: Path, frames: int) -> dict[str, list[float]]:
    """All figures of one job; the folder itself is left alone."""
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(shutil.copytree(job, Path(scratch) / "job"))
        driver = start_browser(1280, 800, Path(scratch) / "browser")
        began = time.perf_counter()
        review = Review(folder)
        page = Page(driver, review)
        try:
            page.open()
            usable = time.perf_counter() - began
            state = page.state()
            print(f"{job.name}: picture {state['picture']['width']} x {state['picture']['height']}, "
                  f"{len(state['plan']['keys'])} keys, {len(state['survey']['cracks'])} cracks")
            pan, zoom = _pan(page, frames), _zoom(page, frames)
            drag, tried = _drag(page, frames)
            moved = _moves(page)
        finally:
            driver.quit()
            review.stop()
    return dict(zip(_GOALS, ([usable], pan, zoom, drag, tried, moved), strict=True))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("job", type=Path)
    parser.add_argument("--frames", type=int, default=120)
    given = parser.parse_args()
    figures = measure(given.job, given.frames)
    print(f"{'':28}{'median':>9}{'95 %':>9}{'n':>6}{'goal':>8}")
    for name, values in figures.items():
        ordered = sorted(values) or [float("nan")]
        high = ordered[min(len(ordered) - 1, int(0.95 * len(ordered)))]
        print(f"{name:28}{statistics.median(ordered):9.2f}{high:9.2f}{len(values):6}{_GOALS[name]:8.0f}")


if __name__ == "__main__":
    main()
