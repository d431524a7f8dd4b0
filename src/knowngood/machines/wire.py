"""A machine file with all its expected readings, for the meter at hand.

`wire` is the one call: a machine and a meter in, the same machine with the readings that its wiring
predicts out, and with the further tests that the wiring offers. Worked out once per file and meter.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from functools import lru_cache

from knowngood.machines.generate import further_tests
from knowngood.machines.machine import Machine
from knowngood.machines.wiring import Wiring
from knowngood.measure.meter import MeterSheet


def wire(machine: Machine, meter: MeterSheet | None) -> Machine:
    """The machine with the readings that its wiring predicts on this meter. A file without a
    circuit comes back as it is."""
    if machine.wires is None:
        return machine
    if isinstance(machine.wiring, Wiring):
        if machine.wiring.meter == meter:
            return machine
        machine = machine.wiring.machine
    if not machine.digest:
        return _wired(machine, meter)
    return _remembered(_Key(machine, meter))


def with_pairs(machine: Machine, marks: Iterable[tuple[str, ...]]) -> Machine:
    """The wired machine with the readings of these faults together, each a tuple of fault ids."""
    if not isinstance(machine.wiring, Wiring):
        return machine
    wanted = [m for m in dict.fromkeys(marks) if len(m) > 1]
    together = machine.wiring.together(machine.tests, wanted)
    if not any(together.values()):
        return machine
    tests = tuple(
        replace(t, together=together[t.id]) if together.get(t.id) else t for t in machine.tests
    )
    return replace(machine, tests=tests)


class _Key:
    """A machine file and a meter; files are the same when their digests and tests are."""

    def __init__(self, machine: Machine, meter: MeterSheet | None) -> None:
        self.machine, self.meter = machine, meter

    def __hash__(self) -> int:
        return hash((self.machine.digest, self.meter))

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, _Key) or self.meter != other.meter:
            return False
        return self.machine is other.machine or self.machine == other.machine


@lru_cache(maxsize=8)
def _remembered(key: _Key) -> Machine:
    return _wired(key.machine, key.meter)


def _wired(machine: Machine, meter: MeterSheet | None) -> Machine:
    wiring = Wiring(machine, meter)
    tests = wiring.filled(machine.tests)
    tests += further_tests(wiring, tests)
    return replace(machine, tests=tests, wiring=wiring)
