"""Fixtures that all tests share."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from hypothesis import settings

ROOT = Path(__file__).resolve().parent.parent

# The same examples every time, so that a run tells of the change and not of the draw; to search on:
# HYPOTHESIS_PROFILE=searching.
settings.register_profile("steady", derandomize=True)
settings.register_profile("searching")
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "steady"))


@pytest.fixture(scope="session")
def test_images() -> Path:
    """The folder of photographs with truth files."""
    return ROOT / "test_images"
