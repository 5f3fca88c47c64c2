"""Whole segments on drawn pictures: what is seen of them, and why they are refused."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from crackmap.survey import crack_chance
from crackmap.survey.explain import refused_lines
from crackmap.survey.find import find_cracks, find_cracks_by_lines, search
from crackmap.survey.judge import segment_judge
from crackmap.survey.reasons import GROUPS, reasons_against
from crackmap.survey.segments import SEGMENT_FEATURES
from tests.survey.test_find import MM_PER_PX, WAVY, board, far_from, picture, with_gap


def column(features: np.ndarray, name: str) -> np.ndarray:
    return features[:, SEGMENT_FEATURES.index(name)]


def test_a_straight_crack_is_seen_as_straight_and_along_the_grain() -> None:
    seen = search(picture(with_gap(board(), WAVY, 4.0)), MM_PER_PX)
    assert seen is not None and len(seen.segments) >= 1
    longest = int(np.argmax([s.length for s in seen.segments]))
    assert column(seen.features, "straightness")[longest] > 0.8  # geometric: a wave of 8 px over 300
    assert column(seen.features, "bend")[longest] < 0.5
    assert column(seen.features, "to_grain")[longest] < 0.35  # the grain is drawn along x
    assert column(seen.features, "closed")[longest] == 0


def test_confidence_parts_kept_from_refused_without_a_rest() -> None:
    image = picture(with_gap(board(), WAVY, 1.2))
    seen = search(image, MM_PER_PX)
    assert seen is not None
    kept, refused = find_cracks(image, MM_PER_PX), refused_lines(seen, 0.5)
    assert len(kept) + len(refused) == len(seen.segments)
    assert all(crack.confidence >= 0.5 for crack in kept)
    assert all(line.confidence < 0.5 and line.reason in GROUPS for line in refused)


def test_the_line_filter_alone_finds_a_plain_crack() -> None:
    cracks = find_cracks_by_lines(picture(with_gap(board(), WAVY, 4.0)), MM_PER_PX)
    assert cracks and np.median(far_from(cracks[0].centreline, WAVY)) < 1.2


def test_the_reason_is_the_group_that_differs_from_a_crack() -> None:
    judge = segment_judge()
    rows = np.repeat(judge.typical[None], 2, 0)
    rows[0, [judge.names.index(name) for name in GROUPS["does not look like an open gap"]]] = -4.0
    assert reasons_against(rows)[0] == "does not look like an open gap"


def test_every_feature_belongs_to_a_reason() -> None:
    assert sorted(name for group in GROUPS.values() for name in group) == sorted(SEGMENT_FEATURES)


@pytest.fixture
def no_network(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """A package whose network is a broken file."""
    broken = tmp_path / "crack_network.onnx"
    broken.write_bytes(b"cut off")
    monkeypatch.setattr(crack_chance, "NETWORK_FILE", broken)
    yield


@pytest.mark.usefixtures("no_network")
def test_without_the_network_cracks_are_found_by_lines_and_that_is_said() -> None:
    image = picture(with_gap(board(), WAVY, 4.0))
    (warning,) = crack_chance.network_warnings()
    assert "crack_network.onnx" in warning and "install crackmap again" in warning
    cracks = find_cracks(image, MM_PER_PX)
    assert [c.confidence for c in cracks] == [c.confidence for c in find_cracks_by_lines(image, MM_PER_PX)]
    seen = search(image, MM_PER_PX)
    assert seen is not None and all(line.reason in GROUPS for line in refused_lines(seen, 1.0))


def test_with_the_network_nothing_is_said() -> None:
    assert crack_chance.network_warnings() == ()


def test_no_wood_nothing_to_search() -> None:
    assert search(picture(board()), MM_PER_PX, np.zeros((260, 420), bool)) is None
