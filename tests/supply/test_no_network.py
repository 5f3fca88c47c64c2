"""Nothing is asked of the network at run time: every command works where sockets raise."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

import crackmap
from tests.review.jobs import a_job_folder

# Put before crackmap in a process of its own. `audit` sees C code too, which a patched socket class does not.
GUARD = """
import sys
ASKS = ("__new__", "getaddrinfo", "gethostbyname", "connect", "sendto", "bind")  # not: its own name
def watch(event, args):
    if event in tuple(f"socket.{each}" for each in ASKS):
        sys.stderr.write(f"NETWORK {event} {args}\\n")
        raise OSError("no network here")
sys.addaudithook(watch)
from crackmap.cli.main import main
main(sys.argv[1:])
"""


def run_guarded(*arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run([sys.executable, "-c", GUARD, *arguments], capture_output=True,
                          text=True, timeout=300, check=False)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return a_job_folder(tmp_path_factory.mktemp("network") / "job")


def test_the_guard_itself_sees_a_socket() -> None:
    asks = GUARD.split("from crackmap")[0] + "import socket; socket.socket()"
    done = subprocess.run([sys.executable, "-c", asks], capture_output=True, text=True, check=False, timeout=60)
    assert done.returncode != 0 and "NETWORK" in done.stderr


@pytest.mark.parametrize("arguments", [
    ["place", "JOB"], ["draw", "JOB"], ["measure", "JOB"], ["align", "JOB", "--a", "0,0", "--b", "660,0"],
    ["ease", "JOB", "--key", "K1", "--by", "0.1mm"], ["marker", "--out", "OUT/markers.pdf"],
    ["testcut", "--out", "OUT/testcut.dxf"], ["lens", "board", "--out", "OUT/lens.pdf"], ["--version"]],
    ids=lambda a: a[0])
def test_a_command_without_network(made: Path, tmp_path: Path, arguments: list[str]) -> None:
    done = run_guarded(*(each.replace("JOB", str(made)).replace("OUT", str(tmp_path)) for each in arguments))
    assert "NETWORK" not in done.stderr
    # The drawn slab's black squares are no markers, so that measuring it again rightly ends in one sentence.
    assert done.returncode == (2 if arguments[0] == "measure" else 0), done.stderr


@pytest.mark.slow
@pytest.mark.parametrize("arguments", [["run", "PHOTO", "--marker-size", "60mm", "--thickness", "54mm"], ["demo"]],
                         ids=lambda a: a[0])
def test_the_whole_job_without_network(test_images: Path, tmp_path: Path, arguments: list[str]) -> None:
    named = [each.replace("PHOTO", str(test_images / "001.jpg")) for each in arguments]
    done = run_guarded(*named, "--out", str(tmp_path / "job"))
    assert done.returncode == 0 and "NETWORK" not in done.stderr, done.stderr
    assert list((tmp_path / "job").rglob("slab.dxf"))


def test_the_page_names_no_other_computer() -> None:
    """The namespace of SVG is a name, not an address that is fetched (published: SVG 1.1, 1.3)."""
    for path in (Path(crackmap.__file__).parent / "review" / "page").iterdir():
        text = path.read_text(encoding="utf-8").replace("http://www.w3.org/2000/svg", "")
        assert not re.search(r"(https?:)?//[a-z0-9-]+\.[a-z]", text), path.name
        assert "@import" not in text and "import(" not in text or path.suffix == ".js", path.name
