"""A job made once from a small photo, its review, and a browser that looks at it."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from crackmap.cli.main import main
from tests.truth import load_truth

if TYPE_CHECKING:
    from tests.review.page_driver import Page

SMALL_PHOTO = "901"  # made by crackmap.demo; the quickest of the test images


@pytest.fixture(scope="session")
def small_job(tmp_path_factory: pytest.TempPathFactory, test_images: Path) -> Path:
    """A whole job folder; tests copy it and leave it as it is."""
    truth = load_truth(test_images / f"{SMALL_PHOTO}.json")
    folder = tmp_path_factory.mktemp("small-job") / "elm-top"
    try:
        main(["run", str(truth.photo), *truth.options(), "--out", str(folder), "--quiet"])
    except SystemExit as end:  # in a session's fixture it would end every test with an error of pytest's own
        raise AssertionError(f"crackmap run ended with exit status {end.code}") from end
    return folder


@pytest.fixture(scope="session")
def open_page(small_job: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Page]:
    """The page on a copy of the small job."""
    from tests.review.page_driver import Page, Review, chromium, start_browser

    if chromium() is None:
        pytest.skip("the page's tests need Chromium and chromedriver; neither was found")
    folder = tmp_path_factory.mktemp("review") / small_job.name
    shutil.copytree(small_job, folder)
    review = Review(folder)
    driver = start_browser(1280, 800, tmp_path_factory.mktemp("browser"))
    try:
        page = Page(driver, review)
        page.open()
        yield page
    finally:
        driver.quit()
        review.stop()


@pytest.fixture
def page(open_page: Page) -> Page:
    """The page with nothing changed and nothing chosen."""
    open_page.fresh()
    return open_page
