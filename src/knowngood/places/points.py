"""Any two points at the bench: what each suspect would show there, and a reading that counts."""

from __future__ import annotations

import re
from collections.abc import Collection
from dataclasses import dataclass

from knowngood.diagnosis.asked import with_asked
from knowngood.diagnosis.assess import Setup
from knowngood.isolate.forecast import Forecast
from knowngood.isolate.table import Row
from knowngood.machines.ask import READ, AskError, asked_test
from knowngood.machines.machine import Machine, Test
from knowngood.places.record import Refused

_ASKED = re.compile(
    r"(?P<red>\S+)\s+(?P<black>\S+)(?:\s+(?P<read>volts|ohms|diode))?(?:\s+in\s+(?P<where>[\w+]+))?"
    r"(?:\s*:\s*(?P<text>.+))?"
)


@dataclass(frozen=True, slots=True)
class PointsAsked:
    """The test of two points and what each suspect would show (by hypothesis id)."""

    test: Test
    row: Row
    expected: tuple[tuple[str, Forecast], ...]


def setup_with(setup: Setup, tests: Collection[str]) -> Setup:
    """The setup with all points that these test ids ask for. Raises Refused."""
    try:
        return with_asked(setup, tests)
    except AskError as error:
        raise Refused(str(error)) from error


def setup_as_read(setup: Setup, tests: Collection[str]) -> Setup:
    """The same for the readings of a job. Points that the machine file does not have any more are
    passed over: what was read there stays on the job as a note."""
    try:
        return with_asked(setup, tests)
    except AskError:
        return with_asked(setup, [id for id in tests if _can_ask(setup, id)])


def _can_ask(setup: Setup, id: str) -> bool:
    try:
        with_asked(setup, [id])
    except AskError:
        return False
    return True


def ask_points(
    setup: Setup, red: str, black: str, read: str = "", condition: str = "",
    opened: Collection[str] = (),
) -> tuple[PointsAsked, Setup]:  # fmt: skip
    """What to see between two points, and the setup in which a reading there counts.

    ``opened``: teardown steps open now; without ``condition`` the nearest one. Raises Refused.
    """
    test = points_test(setup.machine, red, black, read, condition, opened)
    wider = setup_with(setup, [test.id])
    row = wider.bench.table.rows[test.id]
    pairs = zip(wider.bench.table.hypotheses, row.index, strict=True)
    expected = tuple((h.id, row.forecasts[int(place)]) for h, place in pairs)
    return PointsAsked(test, row, expected), wider


def points_test(
    machine: Machine, red: str, black: str, read: str = "", condition: str = "",
    opened: Collection[str] = (),
) -> Test:  # fmt: skip
    """The test of two points of a wired machine. Raises Refused."""
    try:
        return asked_test(machine, red, black, read, condition, opened)
    except AskError as error:
        raise Refused(str(error)) from error


def points_line(text: str) -> dict[str, str]:
    """"SP1 B- volts in plug_live: 11.9 V" in its parts: red, black, read, where, text. A point
    with blanks in its words is named by its short name. Raises Refused."""
    found = _ASKED.fullmatch(text.strip())
    if found is None:
        raise Refused(f"which two points? points RED BLACK, then {', '.join(READ)} and in CONDITION"
                      " where you choose, and : READING when you have it")
    return {k: v or "" for k, v in found.groupdict().items()}
