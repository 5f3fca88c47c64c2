"""crackmap marker: writes a PDF, or one sentence and nothing."""

from __future__ import annotations

from pathlib import Path

import pytest

from crackmap.cli.main import main


def test_a_sheet_is_written(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "new" / "markers.pdf"
    main(["marker", "--out", str(out), "--paper", "letter", "--size", "2in", "--count", "3",
          "--first-id", "5"])
    assert out.read_bytes().startswith(b"%PDF-")
    said = capsys.readouterr().out
    assert "3 markers of 50.8 mm, ids 5, 6, 7" in said and "--marker-size" in said


@pytest.mark.parametrize(("arguments", "word"), [
    (["--size", "0mm"], "--size"), (["--size", "100"], "unit"), (["--size", "1m"], "1000 mm"),
    (["--count", "0"], "0 markers"), (["--count", "many"], "many"), (["--first-id", "50"], "0 to 49"),
    (["--paper", "a5"], "a5")])
def test_wrong_options(
        arguments: list[str], word: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "markers.pdf"
    with pytest.raises(SystemExit) as ended:
        main(["marker", "--out", str(out), *arguments])
    said = capsys.readouterr().err
    assert ended.value.code == 2 and word in said and said.count("\n") == 1
    assert not out.exists()


def test_an_existing_file_is_kept_unless_asked(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "markers.pdf"
    out.write_text("mine")
    with pytest.raises(SystemExit) as ended:
        main(["marker", "--out", str(out)])
    assert ended.value.code == 2 and "--overwrite" in capsys.readouterr().err
    assert out.read_text() == "mine"
    main(["marker", "--out", str(out), "--overwrite"])
    assert out.read_bytes().startswith(b"%PDF-")


def test_a_folder_is_no_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        main(["marker", "--out", str(tmp_path), "--overwrite"])
    assert "is a folder" in capsys.readouterr().err
