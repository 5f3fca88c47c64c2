"""crackmap testcut: the drawing, and the finding that it leads to."""

from __future__ import annotations

from pathlib import Path

import ezdxf
import pytest

from crackmap.cli.main import main
from crackmap.shop import shop_from_toml


def run(arguments: list[str], capsys: pytest.CaptureFixture[str]) -> tuple[int, str]:
    """Exit status and everything said."""
    try:
        main(["testcut", *arguments])
        status = 0
    except SystemExit as ending:
        status = int(ending.code or 0)
    said = capsys.readouterr()
    return status, said.out + said.err


def test_a_ladder_is_drawn_for_the_shops_bit(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    shop = tmp_path / "shop.toml"
    shop.write_text('[bit]\ndiameter = "1/8in"\nmeasured = 3.15\n')
    out = tmp_path / "cut.dxf"
    status, said = run(["--out", str(out), "--shop", str(shop), "--steps", "0.2mm,0.1,0.05", "--units", "in"],
                       capsys)
    assert status == 0 and "3 pockets and one key, for a 3.175 mm bit that measures 3.15 mm" in said
    assert "0.00197 in, 0.00394 in, 0.00787 in" in said  # geometric: 0.05, 0.1, 0.2 mm over 25.4
    assert "makers' instructions" in said
    assert len(ezdxf.readfile(out).modelspace().query("LWPOLYLINE[layer=='POCKET']")) == 3


def test_a_drawing_is_not_replaced_unasked(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "cut.dxf"
    out.write_text("mine")
    status, said = run(["--out", str(out)], capsys)
    assert status == 2 and "is there already" in said and out.read_text() == "mine"
    assert run(["--out", str(out), "--overwrite"], capsys)[0] == 0
    assert out.read_text() != "mine"


def test_the_step_that_fitted_is_remembered(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    shop = tmp_path / "shop.toml"
    shop.write_text('# my shop\n[keys]\nkey_wood = "ash"\n')
    status, said = run(["--fitted", "0.15", "--shop", str(shop)], capsys)
    assert status == 0 and "0.150 mm a side remembered for the 6.35 mm bit in ash" in said
    read = shop_from_toml(shop.read_text(), "shop.toml")
    assert read.fit.clearance == 0.15 and read.fit.from_test
    assert shop.read_text().startswith('# my shop\n[keys]\nkey_wood = "ash"\n')


def test_a_shop_file_is_begun_where_there_is_none(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    shop = tmp_path / "shop.toml"
    assert run(["--fitted", "0.1mm", "--shop", str(shop), "--wood", "oak"], capsys)[0] == 0
    assert shop_from_toml(shop.read_text(), "a").tested[0].wood == "oak"


@pytest.mark.parametrize(("arguments", "said"), [
    ([], "give either --out"), (["--out", "a.dxf", "--fitted", "0.1"], "give either --out"),
    (["--fitted", "7"], "outside 0 to 2 mm"), (["--fitted", "tight"], "is not a length"),
    (["--out", "a.dxf", "--steps", "0.1,0.1"], "one step or more"),
    (["--out", "a.dxf", "--offcut", "-3mm"], "more than zero"),
    (["--out", "a.dxf", "--shop", "none.toml"], "cannot be read")])
def test_bad_input_ends_in_one_sentence(arguments: list[str], said: str, tmp_path: Path,
                                        monkeypatch: pytest.MonkeyPatch,
                                        capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.chdir(tmp_path)
    status, words = run(arguments, capsys)
    assert status == 2 and said in words and len(words.strip().splitlines()) == 1
    assert list(tmp_path.iterdir()) == []
