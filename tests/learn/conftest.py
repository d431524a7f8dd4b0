"""The small machine of the bench's tests, and closed jobs made by hand."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path

import pytest

from knowngood.learn.closed import ClosedJob, OldReading
from knowngood.machines.machine import Machine
from knowngood.machines.parse import parse_machine
from knowngood.measure.reading import Reading

SMALL = Path(__file__).parent.parent / "places" / "small.yaml"
UNIT = {"volts": "V", "ohms": "ohm", "diode": "V"}


@pytest.fixture(scope="session")
def small() -> Machine:
    machine, problems = parse_machine(SMALL.read_text(encoding="utf-8"), "small.yaml")
    assert machine is not None, problems
    return machine


def volts(
    value: float, u_random: float = 0.0, u_shared: float = 0.0, quantity: str = "volts",
    meter: str = "generic-6000",
) -> Reading:  # fmt: skip
    unit = UNIT[quantity]
    text = f"{value:g} {unit}"
    return Reading("value", quantity, value, value, unit, text, u_random, u_shared, 0.01, meter,
                   "60")  # fmt: skip


Maker = Callable[..., ClosedJob]


def closed(
    number: int, readings: Mapping[str, Reading], *, bad: str = "start_box", model: str = "BT-5",
    after: bool = False, serial: str = "", complaint: str = "dead", why_not: str = "",
    came_back: str = "", out: tuple[str, ...] = (), standing: Mapping[str, str] | None = None,
    minutes: tuple[tuple[str, float], ...] = (), machine: str = "test-mower",
) -> ClosedJob:  # fmt: skip
    old = tuple(
        OldReading(f"r{number}{test}", test, test, reading, f"2026-01-{number % 28 + 1:02d}", "Ana",
                   after, number * 100 + n)
        for n, (test, reading) in enumerate(readings.items())
    )  # fmt: skip
    return ClosedJob(
        f"job{number:04d}", f"26-{number:04d}", f"2026-01-{number % 28 + 1:02d}", machine,
        "Brackwater", model, serial or f"S{number}", complaint, (bad,), frozenset(out), old,
        minutes, standing or {}, why_not, number * 100 + 99, came_back,
    )  # fmt: skip
