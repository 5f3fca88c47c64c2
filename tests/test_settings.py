"""Settings refuse unknown names."""

from __future__ import annotations

import pytest

from crackmap.errors import SettingsError
from crackmap.settings import ScaleSettings, nearest_hint


def test_an_unknown_name_is_refused_and_the_closest_named() -> None:
    with pytest.raises(SettingsError, match="did you mean 'marker_size'"):
        ScaleSettings().with_changes(marker_sise=80.0)


def test_a_change_leaves_the_old_settings_alone() -> None:
    old = ScaleSettings()
    assert old.with_changes(marker_size=80.0).marker_size == 80.0
    assert old.marker_size == 100.0


@pytest.mark.parametrize(("name", "ends"), [
    ("markr", "; did you mean 'marker'?"), ("zz", "; known names are edge, marker.")])
def test_a_hint_ends_its_sentence_with_one_mark(name: str, ends: str) -> None:
    assert nearest_hint(name, ["marker", "edge"]) == ends
