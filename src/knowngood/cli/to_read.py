"""A record that is only read: one that is not there yet answers as an empty one."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory

from knowngood.places.record import Record
from knowngood.store.where import store_path


@contextmanager
def to_read(store: Path | None) -> Iterator[Record]:
    """The record at this place. Where there is none yet, it is said and an empty one is read;
    nothing is made there, as the place may be mistyped. Raises StoreProblem."""
    place = store_path(store)
    if place.exists():
        with Record.open(place, make=False) as record:
            yield record
        return
    print(f"There is no record at {place} yet; the first entry makes it.", file=sys.stderr)
    with TemporaryDirectory() as folder, Record.open(Path(folder) / "shop.db") as record:
        yield record
