"""A machine file with all its expected readings, for the meter at hand.

`wire` is the one call: a machine and a meter in, the same machine with the readings that its wiring
predicts out, with the further tests that the wiring offers, and with the steps that must be back
for each reading (`left_open`). Worked out once per file and meter,
and kept for the next time where there is a place for it (`kept`).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from functools import lru_cache

from knowngood.isolate.forecast import Forecast
from knowngood.machines.generate import further_tests
from knowngood.machines.kept import (
    Kept,
    name_of_pairs,
    name_of_rows,
    pairs_in,
    pairs_text,
    rows_text,
    with_rows,
)
from knowngood.machines.left_open import back_first, with_back_first
from knowngood.machines.machine import Machine, Test
from knowngood.machines.wiring import Wiring
from knowngood.measure.meter import MeterSheet

_MOST_SETS = 16

Pair = tuple[str, tuple[str, ...]]


class Wired(Wiring):
    """The wiring of a machine that has all its readings, with those of faults together so far."""

    def __init__(self, machine: Machine, meter: MeterSheet | None, kept: Kept | None) -> None:
        super().__init__(machine, meter)
        self._kept = kept
        self._name = "" if kept is None else name_of_rows(machine, meter)
        self._sets: dict[tuple[Pair, ...], dict[Pair, Forecast]] = {}
        self.plain: tuple[Test, ...] = ()  # as the file and the wiring have them

    def all_tests(self) -> tuple[Test, ...]:
        """The declared tests with their readings, and the further ones."""
        text = None if self._kept is None else self._kept.read(self._name)
        found = None if text is None else with_rows(self.machine, self.meter, text)
        if found is None:
            found = self.filled(self.machine.tests)
            found += further_tests(self, found)
            found = with_back_first(found, back_first(self.machine, self.meter, found))
            if self._kept is not None:
                self._kept.write(self._name, rows_text(found))
        self.plain = found
        return found

    def pairs(self, tests: tuple[Test, ...], wanted: tuple[Pair, ...]) -> dict[Pair, Forecast]:
        """`together`, remembered and kept."""
        if wanted in self._sets:
            return self._sets[wanted]
        name = name_of_pairs(self._name, wanted)
        text = None if self._kept is None else self._kept.read(name)
        found = None if text is None else pairs_in(text, wanted)
        if found is None:
            found = self.together(tests, wanted)
            if self._kept is not None:
                self._kept.write(name, pairs_text(found))
        if len(self._sets) >= _MOST_SETS:
            del self._sets[next(iter(self._sets))]
        self._sets[wanted] = found
        return found


def wire(machine: Machine, meter: MeterSheet | None, kept: Kept | None = None) -> Machine:
    """The machine with the readings that its wiring predicts on this meter. A file without a
    circuit comes back as it is. ``kept``: where readings once worked out are looked up."""
    if machine.wires is None:
        return machine
    if isinstance(machine.wiring, Wiring):
        if machine.wiring.meter == meter:
            return machine
        machine = machine.wiring.machine
    if not machine.digest:
        return _wired(machine, meter, kept)
    return _remembered(_Key(machine, meter, kept))


def with_pairs(machine: Machine, marks: Iterable[tuple[str, ...]]) -> Machine:
    """The wired machine with the readings of these faults together, each a tuple of fault ids."""
    if not isinstance(machine.wiring, Wired):
        return machine
    several = [m for m in dict.fromkeys(marks) if len(m) > 1]
    wanted = tuple(machine.wiring.moved_by(machine.tests, several))
    if not wanted:
        return machine
    # Asked of the tests as the wiring has them, so that what is kept is the same for everyone; a
    # good reading that the shop knows better then takes its place.
    plain = {t.id: t for t in machine.wiring.plain}
    good = {t.id: t.good for t in machine.tests}
    asked = tuple(plain.get(t.id, t) for t in machine.tests)
    was = {t.id: t.good for t in asked}
    together: dict[str, dict[tuple[str, ...], Forecast]] = {}
    for (test, moving), forecast in machine.wiring.pairs(asked, wanted).items():
        alike = forecast == was[test]
        together.setdefault(test, {})[moving] = good[test] if alike else forecast
    tests = tuple(
        replace(t, together=together[t.id]) if t.id in together else t for t in machine.tests
    )
    return replace(machine, tests=tests)


@dataclass(frozen=True)
class _Key:
    """A machine file and a meter; files are the same when their digests and tests are."""

    machine: Machine
    meter: MeterSheet | None
    kept: Kept | None = field(compare=False)

    def __hash__(self) -> int:
        return hash((self.machine.digest, self.meter))


@lru_cache(maxsize=32)
def _remembered(key: _Key) -> Machine:
    """All shipped files on two meters and a shop's own: solving one anew takes seconds, and here it
    takes some 7 MB, of which little where its readings were kept."""
    return _wired(key.machine, key.meter, key.kept)


def _wired(machine: Machine, meter: MeterSheet | None, kept: Kept | None) -> Machine:
    wiring = Wired(machine, meter, kept)
    return replace(machine, tests=wiring.all_tests(), wiring=wiring)
