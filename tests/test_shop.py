"""The shop file: what it may hold, and one sentence for what it may not."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crackmap.errors import CrackmapError, SettingsError
from crackmap.keys.family import size_family
from crackmap.keys.shop_names import demand_known_names
from crackmap.shop import FITS, Bit, Shop, TestedFit, shop_from_toml
from crackmap.shop_edit import with_tested_fit

EXAMPLE = Path(__file__).resolve().parent.parent / "examples" / "shop.toml"


def test_an_empty_file_is_the_built_in_shop() -> None:
    read = shop_from_toml("", "shop.toml")
    assert read == Shop(source="shop.toml")


def test_the_example_is_right_as_it_stands_and_with_its_comments_taken_out() -> None:
    text = EXAMPLE.read_text(encoding="utf-8")
    shop = shop_from_toml(text, "examples/shop.toml")
    assert shop.bit.diameter == 6.35 and shop.bit.cutting_length == 25.4  # geometric: 1/4 and 1 in
    assert shop.fit.clearance == FITS["slip"] and shop.resin.from_user and len(shop.stock) == 2
    assert len(size_family(shop, 44.0)) == 4
    every = re.sub(r"^# (?=\w+ = |\[\[tested)", "", text, flags=re.MULTILINE)
    every = every.replace('kind = "slip"', "").replace('shape = "two-lobe"', 'shape = "straight"')
    full = shop_from_toml(every, "examples/shop.toml")
    assert full.keys.corners == "corner-relief" and full.fit.from_test and full.fit.clearance == 0.125
    assert [s.length for s in size_family(full, 44.0)] == [100.0, 80.0, 63.0]


@pytest.mark.parametrize(("text", "said"), [
    ("[bit]\ndiametr = 6", r"\[bit\] unknown name 'diametr'; did you mean 'diameter'\?"),
    ("[bits]\n", "unknown name 'bits'; did you mean 'bit'"),
    ("[bit]\ndiameter = true", r"\[bit\] diameter must be a length"),
    ("[bit]\ndiameter = '6'", r"\[bit\] diameter: '6' has no unit"),
    ("[bit]\ndiameter = 0.25", 'outside 0.5 to 50 mm; lengths are in mm, write inches as "1/4in"'),
    ("[bit]\ndiameter = nan", "outside 0.5 to 50 mm"),
    ("[bit]\ndiameter = 6.35\nmeasured = 3.1", "differs from diameter"),
    ("bit = 6", r"\[bit\] must be a table"),
    ("[fit]\nkind = 'tapp'", r"\[fit\] kind: unknown value 'tapp'; did you mean 'tap'"),
    ("[fit]\nkind = 'tap'\nclearance = 0.1", "gives both kind and clearance"),
    ("[fit]\nfrom_test = true", "unknown name 'from_test'"),
    ("[stock]\nlength = 600", r"\[\[stock\]\] must be a list of tables"),
    ("[[stock]]\nlength = 600\n[[stock]]\nwidth = 'wide'", r"\[\[stock\]\] 2 width: 'wide' is not a length"),
    ("[[stock]]\noffcut = 1", "offcut must be true or false"),
    ("[bed]\nclamps = [[0, 0, 80]]", r"clamps\[0\] must be four lengths"),
    ("[bed]\nclamps = [[0, 0, -80, 4]]", r"clamps\[0\] is -80 mm, outside"),
    ("[machine]\nfeed = 0", "feed is 0, outside 50 to 30000"),
    ("[machine]\nfeeds = 900", "did you mean 'feed'"),
    ("[bed]\nopen_sides = 'left'", "open_sides must be a list"),
    ("[bed]\nopen_sides = ['lft']", "did you mean 'left'"),
    ("[resin]\nratio = '2-1'", 'ratio must be two numbers, as \\[2, 1\\] or "2:1"'),
    ("[resin]\nratio = '2:x'", "ratio must be two numbers"),
    ("[resin]\nratio = [2, 'b']", "ratio must be two numbers"),
    ("[resin]\nratio = [2, 0]", "outside 0.01 to 1000"),
    ("[wood]\nmoisture_percent = 45", "moisture_percent is 45, outside 0 to 30"),
    ("[keys]\nsizes = 2.5", "sizes must be a whole number"),
    ("[keys]\nlengths = [100, 5]", "lengths is 5 mm, outside 10 to 500 mm"),
    ("[keys]\nleast_length = 90\ngreatest_length = 60", "least_length .90 mm. is more than greatest_length"),
    ("units = 'cm'", "units: unknown value 'cm'"),
    ("units = 5", "units must be a text in quotes"),
    ("[bit", "not a readable shop file")])
def test_a_wrong_field_is_named_in_one_sentence(text: str, said: str) -> None:
    with pytest.raises(SettingsError, match=said) as caught:
        shop_from_toml(text, "my-shop.toml")
    message = str(caught.value)
    assert message.startswith("my-shop.toml") and "\n" not in message


@given(st.text(max_size=200))
def test_any_text_is_read_or_refused(text: str) -> None:
    try:
        shop_from_toml(text, "shop.toml")
    except SettingsError as error:
        assert str(error)


def test_inches_and_millimetres_mean_the_same() -> None:
    inches = shop_from_toml('[bit]\ndiameter = "1/4in"\ncutting_length = "1in"', "a")
    metric = shop_from_toml("[bit]\ndiameter = 6.35\ncutting_length = '25.4mm'", "a")
    assert inches == metric


def test_presets_rise_and_a_figure_wins_over_none() -> None:
    assert FITS["tap"] < FITS["slip"] < FITS["glue"]
    assert shop_from_toml("[fit]\nkind = 'glue'", "a").fit.clearance == FITS["glue"]
    assert shop_from_toml("[fit]\nclearance = '0.12mm'", "a").fit.clearance == pytest.approx(0.12)


TESTED = """
[bit]
diameter = 6.35
[fit]
clearance = 0.1
[keys]
key_wood = "walnut"
[[tested]]
bit_diameter = 3.175
wood = "walnut"
clearance = 0.3
[[tested]]
bit_diameter = 6.35
clearance = 0.2
[[tested]]
bit_diameter = "1/4in"
wood = "Walnut"
clearance = 0.15
"""


def test_the_test_cut_of_this_bit_and_wood_counts() -> None:
    fit = shop_from_toml(TESTED, "a").fit
    assert fit.clearance == 0.15 and fit.from_test
    other_wood = shop_from_toml(TESTED.replace('key_wood = "walnut"', 'key_wood = "ash"'), "a").fit
    assert other_wood.clearance == 0.2  # the one for any wood
    other_bit = shop_from_toml(TESTED.replace("[bit]\ndiameter = 6.35", "[bit]\ndiameter = 8"), "a").fit
    assert other_bit.clearance == 0.1 and not other_bit.from_test


def test_a_remembered_fit_leaves_the_rest_of_the_file_alone() -> None:
    text = EXAMPLE.read_text(encoding="utf-8")
    once = with_tested_fit(text, TestedFit(6.35, 0.125, "black walnut"), "shop.toml")
    assert once.startswith(text)
    assert shop_from_toml(once, "a").fit.clearance == 0.125
    noted = once[:-1] + "  # tight, but good\n"
    twice = with_tested_fit(noted, TestedFit(6.35, 0.15, "black walnut"), "shop.toml")
    assert "clearance = 0.15  # tight, but good" in twice
    assert len(shop_from_toml(twice, "a").tested) == 1
    assert twice.replace("0.15  # tight, but good", "0.125") == once


@settings(max_examples=60)
@given(st.lists(st.tuples(st.sampled_from([3.175, 6.35, 8.0]), st.sampled_from(["", "oak", "black walnut",
                                                                                'a "b" \\c']),
                          st.sampled_from([0.05, 0.1, 0.2])), max_size=6))
def test_the_newest_finding_of_each_bit_and_wood_is_kept(found: list[tuple[float, str, float]]) -> None:
    text = "# mine\n"
    for diameter, wood, clearance in found:
        text = with_tested_fit(text, TestedFit(diameter, clearance, wood), "shop.toml")
    newest = {(diameter, wood): clearance for diameter, wood, clearance in found}
    assert {(t.bit_diameter, t.wood): t.clearance for t in shop_from_toml(text, "a").tested} == newest
    assert text.startswith("# mine\n")


def test_an_entry_written_on_one_line_is_left_to_its_owner() -> None:
    text = "tested = [{bit_diameter = 6.35, clearance = 0.1}]\n"
    with pytest.raises(SettingsError, match="by hand"):
        with_tested_fit(text, TestedFit(6.35, 0.2, ""), "shop.toml")


def test_a_measured_bit() -> None:
    assert Bit(diameter=6.35, measured=6.25).undersize == pytest.approx(0.05)
    assert Bit().undersize == 0.0 and Bit().cutting_diameter == 6.35
    assert Bit(diameter=6.35, measured=6.45).corner_radius == pytest.approx(1.1 * 6.45 / 2.0)


@pytest.mark.parametrize("text", [
    "[bit]\ndiameter = " + "9" * 5000, "[bit]\ndiameter = " + "9" * 400, "[machine]\nfeed = -" + "9" * 400,
    "[keys]\nsizes = " + "9" * 400, "[keys]\nlengths = " + "[" * 5000 + "]" * 5000,
    "[wood]\nspecies = [" + "1," * 3000 + "]", '[wood]\nspecies = "' + "w" * 100_000 + '"', '"a\\nb" = 1',
    '[keys]\n"' + "w" * 100_000 + '" = 1', "[bit]\ndiameter = nan"])
def test_a_damaged_shop_file_is_one_short_sentence(text: str) -> None:
    with pytest.raises(CrackmapError) as caught:
        demand_known_names(shop_from_toml(text, "shop.toml"))
    said = str(caught.value)
    assert "shop.toml" in said and len(said) < 600 and len(said.splitlines()) == 1
