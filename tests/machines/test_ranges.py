"""No reading that the wiring predicts has a range that no meter and no machine could show.

A few machines of the design stand for all, so one stray solution would spread a range over many
decades, or above the volts of the machine; both are looked for in every row of every machine, with
faults alone and together.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache

import pytest

from knowngood.diagnosis.assess import Setup
from knowngood.isolate.forecast import Piece
from knowngood.isolate.prices import Prices
from knowngood.machines.machine import Test
from knowngood.places.library import find_machine, find_meter, make_setup

NAMES = ("mower-battery-56v", "rider-start-12v", "hedge-trimmer-36v")
DECADES = 4.0
"""A range of volts covers at most these: that is what a fault of unknown ohms can do."""
NOTHING = 1e-9  # a reading between 0 and this is solver noise, no prediction


@cache
def setup_of(name: str) -> Setup:
    machine = find_machine(name).it
    return make_setup(machine, machine.complaints[0].id, find_meter("generic-6000").it, Prices())


def pieces(name: str) -> Iterator[tuple[Test, Piece]]:
    setup = setup_of(name)
    for test in setup.machine.tests:
        if test.probe is not None and not test.by_hand:
            for forecast in setup.bench.table.rows[test.id].forecasts:
                for piece in forecast.pieces:
                    if piece.kind not in ("over", "unsteady"):
                        yield test, piece


@pytest.mark.parametrize("name", NAMES)
def test_predicted_readings_lie_where_the_machine_can_put_them(name: str) -> None:
    machine = setup_of(name).machine
    most = 1.3 * max(machine.full_volts or 0.0, machine.rated_volts or 0.0)
    wrong = []
    for test, p in pieces(name):
        high = p.low if p.kind == "around" else p.high
        if not p.low <= high or max(abs(p.low), abs(high)) > 1e9:
            wrong.append((test.id, p))
        if test.quantity == "volts" and max(abs(p.low), abs(high)) > most:
            wrong.append((test.id, p))
        if any(0 < abs(end) < NOTHING for end in (p.low, high)):
            wrong.append((test.id, p))
    assert wrong == []


@pytest.mark.parametrize("name", NAMES)
def test_no_range_covers_more_decades_than_its_faults_explain(name: str) -> None:
    """Volts: `DECADES`. Ohms: one decade more than the widest span of ohms in the file."""
    machine = setup_of(name).machine
    spans = [c.ohms for f in machine.faults for c in f.changes if c.ohms is not None]
    spans += [c.span for f in machine.faults for c in f.changes if c.span is not None]
    widest = max(s.high / s.low for s in spans if s.kind != "around" and s.low > 0)
    most = {"volts": 10**DECADES, "ohms": 10 * widest, "amps": 10**DECADES, "diode": 100.0}
    seen = 0
    for test, p in pieces(name):
        if p.kind == "log":
            assert p.high / p.low <= most[test.quantity], (test.id, p)
            seen += 1
    assert seen
