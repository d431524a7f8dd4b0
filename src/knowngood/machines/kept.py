"""Readings worked out once, as text that may be kept, and read back to the last digit.

A text is named by a digest of all that it follows from: the machine, the meter, the faults asked
together, and the program's own code (`CODE`). What is kept is only ever a shorter way to the same
answer: without it, or with a text that is damaged or of another program, it is worked out again.
"""

from __future__ import annotations

import hashlib
import json
import platform
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from functools import cache
from importlib import resources
from typing import Any, Final, Protocol

import numpy as np
import scipy

from knowngood.isolate.forecast import Forecast, Held, Piece
from knowngood.machines.electric import Probing
from knowngood.machines.forecast_text import expected_words
from knowngood.machines.generate import made_test
from knowngood.machines.machine import Machine, Test
from knowngood.measure.meter import MeterSheet

CODE: Final = ("circuit", "machines", "measure")
"""Rooms whose code the rows follow from; of `isolate` it is the forecast alone."""

_MISFITS: Final = (ValueError, TypeError, LookupError, AttributeError, RecursionError)

Pairs = Mapping[tuple[str, tuple[str, ...]], Forecast]


class Kept(Protocol):
    """A place for texts by name. Neither call fails: what cannot be kept is worked out again."""

    def read(self, name: str) -> str | None: ...

    def write(self, name: str, text: str) -> None: ...


@cache
def _program() -> str:
    """A digest of the code and of the libraries that compute."""
    found = hashlib.sha256(repr((np.__version__, scipy.__version__, platform.machine())).encode())
    package = resources.files("knowngood")
    files = [file for room in CODE for file in (package / room).iterdir()]
    for file in sorted([*files, package / "isolate" / "forecast.py"], key=str):
        if file.name.endswith(".py"):
            found.update(file.name.encode())
            found.update(file.read_bytes())
    return found.hexdigest()


def name_of_rows(machine: Machine, meter: MeterSheet | None) -> str:
    """The name of the rows of this machine on this meter."""
    text = repr((_program(), machine, meter))
    return f"rows-{hashlib.sha256(text.encode()).hexdigest()}"


def name_of_pairs(rows: str, wanted: Sequence[tuple[str, tuple[str, ...]]]) -> str:
    """The name of these faults together, each with the test, for the rows of this name."""
    return f"pairs-{hashlib.sha256(repr((rows, wanted)).encode()).hexdigest()}"


def rows_text(tests: Iterable[Test]) -> str:
    """What the wiring adds to a machine's tests, and its further tests."""
    found = []
    for t in tests:
        if t.probe is None:
            continue
        row: dict[str, Any] = {
            "id": t.id, "good": _plain(t.good),
            "expect": [[f, _plain(e)] for f, e in t.expect.items()],
            "back": t.back_first,
        }  # fmt: skip
        if t.generated:
            row |= {"read": t.probe.read, "pair": t.probe.pairs[0], "condition": t.condition}
        found.append(row)
    return json.dumps(found, allow_nan=False)


def with_rows(
    machine: Machine, meter: MeterSheet | None, text: str
) -> tuple[Test, ...] | None:
    """The machine's tests with the rows of such a text, kept for this meter; None when it does not
    fit them."""
    try:
        rows = {row["id"]: row for row in json.loads(text)}
        conditions = {c.id: c for c in machine.conditions}
        tests = []
        for test in machine.tests:
            row = rows.pop(test.id) if test.probe and test.condition in conditions else None
            tests.append(test if row is None else _filled(test, row, meter))
        for row in rows.values():
            red, black = row["pair"]
            made = made_test(machine, conditions[row["condition"]],
                             Probing(row["read"], ((red, black),)))  # fmt: skip
            if made.id != row["id"]:
                return None
            tests.append(_filled(made, row, meter))
        return tuple(tests)
    except _MISFITS:
        return None


def pairs_text(pairs: Pairs) -> str:
    """Forecasts of faults that are there at once."""
    return json.dumps([[test, marks, _plain(f)] for (test, marks), f in pairs.items()],
                      allow_nan=False)  # fmt: skip


def pairs_in(
    text: str, wanted: Sequence[tuple[str, tuple[str, ...]]]
) -> dict[tuple[str, tuple[str, ...]], Forecast] | None:
    """The forecasts of such a text; None when it does not hold just those wanted."""
    try:
        found = {(test, tuple(marks)): _forecast(plain) for test, marks, plain in json.loads(text)}
    except _MISFITS:
        return None
    return found if list(found) == list(wanted) else None


def _filled(test: Test, row: Mapping[str, Any], meter: MeterSheet | None) -> Test:
    good = _forecast(row["good"])
    expect = {str(f): _forecast(e) for f, e in row["expect"]}
    reads = test.good_reads or expected_words(good, test.quantity, meter)
    back = tuple(str(s) for s in row["back"])
    return replace(test, good=good, expect=expect, good_reads=reads, back_first=back)


def _plain(forecast: Forecast) -> object:
    pieces = [[p.kind, p.low, p.high, p.share, p.held] for p in forecast.pieces]
    return pieces if forecast.yes is None else forecast.yes


def _forecast(plain: Any) -> Forecast:
    if not isinstance(plain, list):
        return Forecast((), float(plain))
    return Forecast(tuple(
        Piece(kind, low, high, share, None if held is None else Held(*held))
        for kind, low, high, share, held in plain
    ))
