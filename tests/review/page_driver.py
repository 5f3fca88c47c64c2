"""A maker's hands on the review page: real mouse, touch and keyboard events in headless Chromium."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from selenium import webdriver
from selenium.webdriver.chrome.service import Service
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys
from selenium.webdriver.remote.webelement import WebElement

Point = Sequence[float]
PATIENCE = 30.0  # machines that test may be busy [s]
_FLAGS = ("--headless=new", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
          "--disable-background-networking", "--disable-component-update", "--disable-sync")


def chromium() -> tuple[str, str] | None:
    """Paths of Chromium and its driver, or None where they are not installed."""
    browser = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    driver = shutil.which("chromedriver")
    return (browser, driver) if browser and driver else None


def start_browser(width: int, height: int, profile: Path) -> webdriver.Chrome:
    """A new headless browser with an empty folder as its profile and a window of exactly this size. [CSS px]"""
    found = chromium()
    assert found is not None
    options = webdriver.ChromeOptions()
    options.binary_location = found[0]
    for flag in (*_FLAGS, f"--user-data-dir={profile}", f"--window-size={width},{height}"):
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    driver = webdriver.Chrome(options=options, service=Service(found[1]))
    driver.set_script_timeout(PATIENCE)
    set_size(driver, width, height)
    return driver


def set_size(driver: webdriver.Chrome, width: int, height: int, touch: bool = False) -> None:
    """Make the page see a screen of this size, with or without fingers. [CSS px]"""
    driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride",
                           {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": False})
    driver.execute_cdp_cmd("Emulation.setTouchEmulationEnabled",
                           {"enabled": touch, "maxTouchPoints": 5 if touch else 1})


class Review:
    """`crackmap review FOLDER` in its own process."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._process = subprocess.Popen(
            [sys.executable, "-u", "-m", "crackmap", "review", str(folder), "--no-browser"], text=True,
            stdout=subprocess.PIPE, stderr=subprocess.STDOUT, env=os.environ | {"OMP_NUM_THREADS": "1"})
        self.link = self._printed_link()

    def _printed_link(self) -> str:
        assert self._process.stdout is not None
        said = []
        for line in self._process.stdout:
            said.append(line)
            words = [word for word in line.split() if word.startswith("http://127.0.0.1:")]
            if words:
                return words[0].rstrip(".,")
        raise AssertionError("crackmap review printed no link: " + "".join(said))

    def edits(self) -> dict[str, Any]:
        """The maker's word as it lies on the disk."""
        path = self.folder / "edits.json"
        return dict(json.loads(path.read_text())) if path.exists() else {}

    def plan(self) -> dict[str, Any]:
        """The plan as it lies on the disk."""
        return dict(json.loads((self.folder / "plan.json").read_text()))

    def stop(self) -> None:
        self._process.terminate()
        self._process.wait(PATIENCE)


class Page:
    """The review page in one browser window; places are slab millimetres."""

    def __init__(self, driver: webdriver.Chrome, review: Review) -> None:
        self.driver = driver
        self.review = review
        self.touching = False

    # --- looking -----------------------------------------------------------------------------------------

    def open(self) -> None:
        self.driver.get(self.review.link)
        self.wait(lambda: self.run("return document.body.classList.contains('ready')"), "the page is ready")

    def run(self, script: str, *given: Any) -> Any:
        """Run JavaScript in the page with `bench` (of main.js) and `given` at hand; what it returns."""
        answer = self.driver.execute_async_script(
            "const done = arguments[arguments.length - 1], given = arguments[0];"
            "import('/page/main.js').then(async ({ bench }) => done([true, await (async () => {" + script + "})()]))"
            ".catch((error) => done([false, String(error.stack ?? error)]));", given)
        assert answer[0], answer[1]
        return answer[1]

    def state(self) -> dict[str, Any]:
        """The state that the page shows."""
        return dict(self.run("return bench.job.state"))

    def plan(self) -> dict[str, Any]:
        """plan.json once every change is answered; it is written a moment after edits.json."""
        self.settle()
        return self.review.plan()

    def key(self, index: int = 0) -> dict[str, Any]:
        return dict(self.state()["plan"]["keys"][index])

    def crack(self, index: int = 0) -> dict[str, Any]:
        return dict(self.state()["survey"]["cracks"][index])

    def chosen(self) -> list[Any]:
        return list(self.run("return [bench.chosen.kind, bench.chosen.id]"))

    def said(self, place: str = "said") -> str:
        """What stands in the live region for messages, or in that for refusals."""
        return str(self.run(f"return document.getElementById('{place}').textContent"))

    def wait(self, come: Callable[[], Any], what: str) -> None:
        until = time.monotonic() + PATIENCE
        while not come():
            assert time.monotonic() < until, f"waited in vain until {what}; the page said {self.said('refused')!r}"
            time.sleep(0.03)

    def settle(self) -> None:
        """Wait until the server has answered every change."""
        self.run("await bench.job.settled(); await new Promise(requestAnimationFrame)")

    def settled_version(self, after: int) -> int:
        """Wait for a state newer than `after`; its number."""
        self.wait(lambda: self.run("return bench.job.state.version") > after, "the job has changed")
        self.settle()
        return int(self.run("return bench.job.state.version"))

    # --- doing -------------------------------------------------------------------------------------------

    def named(self, name: str) -> WebElement:
        """The button or field called `name` in the page's own list of names."""
        found = f'[data-name="{name}"]'
        self.wait(lambda: self.driver.find_elements(By.CSS_SELECTOR, found), f"there is a {name}")
        return self.driver.find_element(By.CSS_SELECTOR, found)

    def press(self, name: str) -> None:
        self.named(name).click()

    def fill(self, name: str, text: str) -> None:
        field = self.named(name)
        field.send_keys(Keys.CONTROL, "a")
        field.send_keys(text, Keys.ENTER)

    def choose(self, name: str, value: str) -> None:
        """Choose in a drop-down list."""
        self.named(name).find_element(By.CSS_SELECTOR, f'option[value="{value}"]').click()

    def pick(self, kind: str, thing: str) -> None:
        """Choose a key, crack or void by its row in the lists."""
        self.press({"key": "tab-keys", "crack": "tab-cracks", "void": "tab-slab"}[kind])
        if self.chosen() != [kind, thing]:
            self.press(f"row-{thing}")

    def type(self, *keys: str) -> None:
        """Press keys with the focus on the photo; each may be a chord such as "Shift+ArrowUp"."""
        self.run("document.getElementById('stage').focus()")
        for chord in keys:
            self.chord(chord)

    def chord(self, chord: str) -> None:
        *held, key = chord.split("+")
        modifiers = sum({"Alt": 1, "Control": 2, "Shift": 8}[name] for name in held)
        event: dict[str, Any] = {"key": key, "code": _CODES.get(key, f"Key{key.upper()}"), "modifiers": modifiers,
                                 "windowsVirtualKeyCode": _VIRTUAL.get(key, ord(key[0].upper()))}
        typed = "\r" if key == "Enter" else key
        text = {} if len(typed) > 1 or modifiers & 3 else {"text": typed}
        down = "keyDown" if text else "rawKeyDown"
        self.driver.execute_cdp_cmd("Input.dispatchKeyEvent", {"type": down, **event, **text})
        self.driver.execute_cdp_cmd("Input.dispatchKeyEvent", {"type": "keyUp", **event})

    def on_screen(self, point: Point) -> tuple[float, float]:
        """Where a slab place is in the window. [mm] -> [CSS px]"""
        x, y = self.run("const box = bench.stage.canvas.getBoundingClientRect();"
                        "const [x, y] = bench.stage.view.toScreen(given[0]); return [x + box.left, y + box.top]",
                        list(point))
        return float(x), float(y)

    def look_at(self, point: Point, mm_across: float = 400.0) -> None:
        """Zoom so that `point` is in the middle, with so many millimetres from left to right."""
        self.run("const { view } = bench.stage; const [[x, y], mm] = given; const half = mm / 2;"
                 "view.show([[x - half, y - half / 2], [x + half, y + half / 2]]); bench.stage.refresh();"
                 "await new Promise(requestAnimationFrame)", list(point), mm_across)

    def click(self, *points: Point) -> None:
        """Click at places, one after another."""
        for point in points:
            x, y = self.on_screen(point)
            self._pointer("down", x, y)
            self._pointer("up", x, y)

    def drag(self, start: Point, end: Point, held: str = "", let_go: bool = True) -> None:
        """Drag from one place to another in eight steps, holding Shift or Alt if named."""
        self.drag_on_screen(self.on_screen(start), self.on_screen(end), held, let_go)

    def drag_on_screen(self, start: Point, end: Point, held: str = "", let_go: bool = True) -> None:
        modifiers = {"": 0, "Alt": 1, "Shift": 8}[held]
        self._pointer("down", start[0], start[1], modifiers)
        for step in range(1, 9):
            x, y = (s + (e - s) * step / 8 for s, e in zip(start, end, strict=True))
            self._pointer("move", x, y, modifiers)
        if let_go:
            self.let_go(end, modifiers)

    def let_go(self, at: Point, modifiers: int = 0) -> None:
        self._pointer("up", at[0], at[1], modifiers)

    def _pointer(self, what: str, x: float, y: float, modifiers: int = 0) -> None:
        if self.touching:
            kind = {"down": "touchStart", "move": "touchMove", "up": "touchEnd"}[what]
            points = [] if what == "up" else [{"x": x, "y": y}]
            self.driver.execute_cdp_cmd("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})
            return
        kind = {"down": "mousePressed", "move": "mouseMoved", "up": "mouseReleased"}[what]
        self.driver.execute_cdp_cmd("Input.dispatchMouseEvent", {
            "type": kind, "x": x, "y": y, "button": "left", "buttons": 0 if what == "up" else 1, "clickCount": 1,
            "modifiers": modifiers})

    def fresh(self) -> None:
        """Back to the job as it was, with nothing chosen and the whole slab in sight."""
        self.run("""for (const each of document.querySelectorAll('dialog')) each.close();
                    if (bench.pointing.now) bench.pointing.stop(); if (bench.compare.open) bench.compare.hide();
                    bench.gestures.giveUp(); await bench.job.settled(); await bench.job.refresh();
                    while (bench.job.state.can_undo) if (!await bench.job.undo()) break;
                    bench.chosen.nothing(); bench.stage.showAll();
                    for (const id of ['said', 'refused']) document.getElementById(id).textContent = '';
                    await new Promise(requestAnimationFrame)""")


_CODES = {"Enter": "Enter", "Escape": "Escape", " ": "Space", "Delete": "Delete", "Backspace": "Backspace",
          "Tab": "Tab", "ArrowLeft": "ArrowLeft", "ArrowRight": "ArrowRight", "ArrowUp": "ArrowUp",
          "ArrowDown": "ArrowDown", "Home": "Home", "End": "End", "?": "Slash", "0": "Digit0"}
_VIRTUAL = {"Enter": 13, "Escape": 27, " ": 32, "Delete": 46, "Backspace": 8, "Tab": 9, "ArrowLeft": 37,
            "ArrowUp": 38, "ArrowRight": 39, "ArrowDown": 40, "Home": 36, "End": 35, "?": 191}
