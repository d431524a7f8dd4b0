"""Chromium for the tests of the screens. Where it is not installed they are skipped, by name."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, sync_playwright

from tests.browser.shop import CHROMIUM, Shop, launch, phone, served


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    if not Path(CHROMIUM).exists():
        pytest.skip("the package chromium is not installed (apt-get install chromium)")
    with sync_playwright() as playwright:
        browser = launch(playwright)
        yield browser
        browser.close()


@pytest.fixture(scope="session")
def running(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Shop]:
    """A server that all tests share; each opens its own job."""
    with served(tmp_path_factory.mktemp("shop")) as shop:
        yield shop


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    """A server of this test alone, to be killed."""
    with served(tmp_path) as shop:
        yield shop


@pytest.fixture
def hand(browser: Browser) -> Iterator[BrowserContext]:
    """One phone."""
    context = phone(browser)
    yield context
    context.close()
