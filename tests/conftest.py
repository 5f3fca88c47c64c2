"""Fixtures that all tests share."""

from __future__ import annotations

from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent


@pytest.fixture(scope="session")
def test_images() -> Path:
    """The folder of photographs with truth files."""
    return ROOT / "test_images"
