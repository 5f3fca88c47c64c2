"""Make the pictures in examples/ again, from the photos that are in the repository.

    python -m tests.benchmarks.example_pictures [OUT]      # OUT: examples/ if left out

annotated.jpg of elm-bench, the plans to choose from of photos 001 and 005, and four looks of the review page, which
need Chromium and chromedriver. Run it when the survey, the placement, a picture or the page has changed; look at the
pictures before they are kept. examples/placement/growth.svg is made by `bench_placement --growth`.
"""

from __future__ import annotations

import argparse
import base64
import os
import tempfile
from collections.abc import Callable
from itertools import product
from math import dist
from pathlib import Path

import cv2

from crackmap.cli.main import main as crackmap
from tests.review.page_driver import Page, Review, set_size, start_browser
from tests.truth import load_truth

ROOT = Path(__file__).resolve().parents[2]
_ANNOTATED_WIDTH, _PLANS_WIDTH = 1500, 900  # [px]
_QUALITY = 85
_ACROSS = 420.0  # of the slab, from left to right, while a key is dragged [mm]


def _run(photo: Path, options: list[str], out: Path) -> None:
    """`crackmap run`; a session of its own so that nothing else ends with it."""
    try:
        crackmap(["run", str(photo), *options, "--out", str(out), "--quiet"])
    except SystemExit as end:
        if end.code:
            raise RuntimeError(f"crackmap run {photo} ended with exit status {end.code}") from end


def _place_again(job: Path) -> None:
    try:
        crackmap(["place", str(job), "--quiet"])
    except SystemExit as end:
        if end.code:
            raise RuntimeError(f"crackmap place ended with exit status {end.code}") from end


def _elm_bench(scratch: Path) -> Path:
    """The example job after the maker's edits, as examples/elm-bench/follow.sh makes it."""
    example, job = ROOT / "examples" / "elm-bench", scratch / "elm-bench"
    if not job.exists():
        _run(example / "slab.jpg", ["--thickness", "52mm", "--shop", str(example.parent / "shop.toml")], job)
        (job / "edits.json").write_bytes((example / "edits.json").read_bytes())
        _place_again(job)
    return job


def _write_reduced(source: Path, width: int, out: Path) -> None:
    picture = cv2.imread(str(source))
    height = round(picture.shape[0] * width / picture.shape[1])
    small = cv2.resize(picture, (width, height), interpolation=cv2.INTER_AREA)
    _write(out, cv2.imencode(".jpg", small, [cv2.IMWRITE_JPEG_QUALITY, _QUALITY])[1].tobytes())


def draw_elm_bench(out: Path, scratch: Path) -> None:
    """The picture that comes out, reduced."""
    _write_reduced(_elm_bench(scratch) / "annotated.png", _ANNOTATED_WIDTH, out / "elm-bench" / "annotated.jpg")


def draw_plans(out: Path, scratch: Path) -> None:
    """The plans to choose from, for two test photos."""
    for name in ("001", "005"):
        truth = load_truth(ROOT / "test_images" / f"{name}.json")
        _run(truth.photo, [*truth.options(), "--plans"], scratch / name)
        _write_reduced(scratch / name / "plans.jpg", _PLANS_WIDTH, out / "placement" / f"plans-{name}.jpg")


def draw_page(out: Path, scratch: Path) -> None:
    """Four looks of the review page on the example job."""
    review = Review(_elm_bench(scratch))
    driver = start_browser(1280, 800, scratch / "browser")
    try:
        page = Page(driver, review)
        page.open()
        for name, (size, touch, look) in _LOOKS.items():
            page.fresh()
            set_size(driver, *size, touch=touch)
            page.run("await new Promise((done) => setTimeout(done, 200)); bench.stage.showAll();")
            look(page)
            page.run("await new Promise((done) => setTimeout(done, 2000))")  # tiles come
            shot = driver.execute_cdp_cmd("Page.captureScreenshot", {"format": "jpeg", "quality": _QUALITY})
            _write(out / "review" / f"{name}.jpg", base64.b64decode(shot["data"]))
            if name == "drag":
                page.type("Escape")  # the key goes back
    finally:
        driver.quit()
        review.stop()


def _drag_a_key(page: Page) -> None:
    """A key in the hand over the void nearest to any, where it must not lie."""
    state = page.state()
    middles = [[sum(p[k] for p in void["polygon"]) / len(void["polygon"]) for k in (0, 1)]
               for void in state["survey"]["voids"]]
    key, void = min(product(state["plan"]["keys"], middles), key=lambda two: dist(two[0]["centre"], two[1]))
    page.pick("key", key["id"])
    page.look_at([(a + b) / 2.0 for a, b in zip(key["centre"], void, strict=True)], _ACROSS)
    page.drag(key["centre"], void, let_go=False)
    page.wait(lambda: "not kept" in page.run("return document.body.innerText"), "what it would break is told")


def _compare(page: Page) -> None:
    page.press("compare")
    page.wait(lambda: "Drawing the finished look" not in page.run("return document.body.innerText"), "it is drawn")


def _dark_crack(page: Page) -> None:
    page.press("theme")
    page.pick("crack", page.state()["survey"]["cracks"][0]["id"])
    page.run("bench.stage.showAll()")


def _draw_a_crack(page: Page) -> None:
    if page.run("return document.documentElement.dataset.theme") == "dark":
        page.press("theme")
    page.press("tab-resin")
    page.run("bench.point('crack')")
    outline = page.state()["survey"]["outline"]
    x, y = (sum(point[k] for point in outline) / len(outline) for k in (0, 1))
    page.click([x - 120.0, y + 60.0], [x - 60.0, y + 64.0], [x, y + 62.0])


Look = tuple[tuple[int, int], bool, Callable[[Page], None]]  # window [CSS px], by fingers, what is done
_LOOKS: dict[str, Look] = {
    "drag": ((1280, 800), False, _drag_a_key),
    "before-after": ((1280, 800), False, _compare),
    "dark": ((1920, 1080), False, _dark_crack),
    "tablet": ((1024, 768), True, _draw_a_crack),
}


def _write(path: Path, content: bytes) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(content)
    print(path)


def main() -> None:
    """Make all of them."""
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("out", type=Path, nargs="?", default=ROOT / "examples")
    options.add_argument("--only", choices=["elm-bench", "plans", "page"])
    chosen = options.parse_args()
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    with tempfile.TemporaryDirectory() as folder:
        for name, draw in {"elm-bench": draw_elm_bench, "plans": draw_plans, "page": draw_page}.items():
            if chosen.only in (None, name):
                draw(chosen.out, Path(folder))


if __name__ == "__main__":
    main()
