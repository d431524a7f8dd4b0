"""A small machine, a record in a folder of its own, and a person with a clock."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from knowngood.machines.machine import Machine
from knowngood.measure.meter import MeterSheet
from knowngood.places.bench import CheckIn, open_job
from knowngood.places.gather import View
from knowngood.places.library import Known, find_machine, find_meter
from knowngood.places.record import At, Record

SMALL = Path(__file__).parent / "small.yaml"


def at(minutes: float = 0, day: int = 1) -> At:
    return At(datetime(2026, 3, day, 10, tzinfo=UTC) + timedelta(minutes=minutes), "Ana")


@pytest.fixture(scope="session")
def small() -> Known[Machine]:
    return find_machine(str(SMALL))


@pytest.fixture(scope="session")
def meter() -> Known[MeterSheet]:
    return find_meter("generic-6000")


@pytest.fixture
def record(tmp_path: Path) -> Iterator[Record]:
    with Record.open(tmp_path / "shop.db") as opened:
        yield opened


@pytest.fixture
def dead(record: Record, small: Known[Machine], meter: Known[MeterSheet]) -> View:
    check_in = CheckIn(small, "dead", "it is dead", meter, serial="5120", model="BT-5")
    return open_job(record, check_in, at())
