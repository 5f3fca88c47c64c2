"""Unknown names in a shop file: one sentence that names file, field and the nearest known name."""

from __future__ import annotations

import pytest

from crackmap.errors import SettingsError
from crackmap.keys.shop_names import demand_known_names
from crackmap.shop import shop_from_toml


@pytest.mark.parametrize(("text", "sentence"), [
    ('[keys]\nshape = "two-lob"', r"shop.toml: \[keys\] shape: unknown key shape 'two-lob'.*'two-lobe'"),
    ('[wood]\nspecies = "red oka"', r"shop.toml: \[wood\] species: unknown wood 'red oka'; did you mean"),
    ('[keys]\nkey_wood = "wallnut"', r"shop.toml: \[keys\] key_wood: unknown wood 'wallnut'; did you mean"),
    ('[keys]\ncorners = "chisel"', r'shop.toml: \[keys\] corners = "chisel" needs a shape with square corners')])
def test_an_unknown_name_is_refused(text: str, sentence: str) -> None:
    with pytest.raises(SettingsError, match=sentence):
        demand_known_names(shop_from_toml(text, "shop.toml"))


def test_known_names_and_any_board_are_taken() -> None:
    demand_known_names(shop_from_toml('[keys]\nshape = "straight"\ncorners = "chisel"\nkey_wood = "white ash"\n'
                                      '[wood]\nspecies = "American elm"\n[[stock]]\nwood = "driftwood"', "shop.toml"))
    demand_known_names(shop_from_toml("", ""))
