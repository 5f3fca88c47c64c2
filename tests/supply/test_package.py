"""The wheel and the source archive: whole, and the same bytes whenever and wherever they are built."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tarfile
import zipfile
from pathlib import Path

import pytest

pytest.importorskip("flit_core.buildapi", reason="the build backend is not installed here")

ROOT = Path(__file__).resolve().parents[2]
BUILD = "import sys; from flit_core import buildapi as b; [getattr(b, f'build_{k}')(sys.argv[1]) for k in " \
        "('wheel', 'sdist')]"
pytestmark = pytest.mark.slow


def build(source: Path, out: Path, mask: int) -> dict[str, bytes]:
    out.mkdir()
    subprocess.run([sys.executable, "-c", BUILD, str(out)], cwd=source, check=True, umask=mask, timeout=120,
                   env={**os.environ, "SOURCE_DATE_EPOCH": "1700000000"}, capture_output=True)
    return {path.name: path.read_bytes() for path in out.iterdir()}


def copy_of(folder: Path, mask: int, when: int) -> Path:
    """The sources with other dates and rights."""
    folder.mkdir(parents=True)
    for name in ("crackmap", "pyproject.toml", "README.md", "LICENSE"):
        if (ROOT / name).is_dir():
            shutil.copytree(ROOT / name, folder / name, ignore=shutil.ignore_patterns("__pycache__"))
        else:
            shutil.copy(ROOT / name, folder / name)
    for path in folder.rglob("*"):
        path.chmod((0o777 if path.is_dir() else 0o666) & ~mask)
        os.utime(path, (when, when))
    return folder


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, bytes], dict[str, bytes]]:
    where = tmp_path_factory.mktemp("build")
    first = build(copy_of(where / "one", 0o022, 1_600_000_000), where / "out-one", 0o022)
    second = build(copy_of(where / "else" / "where", 0o077, 1_690_000_000), where / "out-two", 0o077)
    return where, first, second


def test_two_builds_are_the_same_bytes(built: tuple[Path, dict[str, bytes], dict[str, bytes]]) -> None:
    _, first, second = built
    assert len(first) == 2 and first == second


def test_the_source_archive_builds_the_same_wheel(built: tuple[Path, dict[str, bytes], dict[str, bytes]]) -> None:
    where, first, _ = built
    archive = next(where / "out-one" / name for name in first if name.endswith(".tar.gz"))
    with tarfile.open(archive) as tar:
        tar.extractall(where / "unpacked", filter="data")
    again = build(next((where / "unpacked").iterdir()), where / "out-three", 0o022)
    wheel = next(name for name in first if name.endswith(".whl"))
    assert again[wheel] == first[wheel]


def test_the_wheel_has_every_file_of_the_package_and_no_tests(
        built: tuple[Path, dict[str, bytes], dict[str, bytes]]) -> None:
    where, first, _ = built
    wheel = next(where / "out-one" / name for name in first if name.endswith(".whl"))
    inside = {name for name in zipfile.ZipFile(wheel).namelist() if not name.endswith("/")}
    package = {str(path.relative_to(where / "one").as_posix()) for path in (where / "one" / "crackmap").rglob("*")
               if path.is_file()}
    assert {name for name in inside if ".dist-info/" not in name} == package
    assert any(name.endswith(".onnx") for name in inside) and any(name.endswith("index.html") for name in inside)
    assert any(name.endswith("licenses/LICENSE") for name in inside) and not any("test_" in name for name in inside)
