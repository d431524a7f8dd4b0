"""One suite, every store: a new kind of database is one more entry here."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from knowngood.store.log import Log

STORES: dict[str, Callable[[Path], str]] = {
    "a path": lambda folder: str(folder / "shop.db"),
    "an embedded database by URL": lambda folder: f"sqlite:///{folder / 'by-url.db'}",
}


@pytest.fixture(params=list(STORES))
def place(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """Where a record of each kind can be made."""
    return STORES[request.param](tmp_path)


@pytest.fixture
def log(place: str) -> Iterator[Log]:
    with Log.open(place) as opened:
        yield opened
