"""What the meter should read, from the wiring: forecasts for every probe under every fault.

Each fault is one or several ways, each a set of changes in the circuit. Every way is read in the
machines of the design (`design`); where it moves nothing it reads as good.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import islice, product
from typing import Final, NamedTuple

from knowngood.circuit.probe import NoReading, Probe, Shown
from knowngood.isolate.forecast import Forecast, Piece, unheld
from knowngood.machines.bench_model import BenchModel, Reading
from knowngood.machines.design import (
    CORNERS,
    HELD,
    POINTS,
    Outcome,
    is_firm,
    is_range,
    mixed,
    outcome_of,
    picked,
    pieces_of,
)
from knowngood.machines.electric import Change, Probing
from knowngood.machines.forecast_text import expected_words
from knowngood.machines.machine import Condition, Fault, Machine, Test
from knowngood.machines.scope import Scope
from knowngood.measure.meter import MeterSheet, rough_budget
from knowngood.measure.units import Quantity

ALIKE: Final = 0.25
"""A fault that moves a reading by less than this share of the meter's uncertainty reads as good."""
JOIN: Final = "+"
"""Between the id of a condition and the further steps done in it."""
MOST_WAYS: Final = 12
"""Of the ways in which two faults come together the likeliest so many are solved."""


class Way(NamedTuple):
    """One way a fault comes: its share, what changes, and the share of readings that jump."""

    share: float
    changes: tuple[Change, ...]
    unsteady: float = 0.0


_Case = tuple[int, tuple[Change, ...]]
"""The number of what is asked, and what is changed in the circuit."""


class Asked(NamedTuple):
    """One row to work out: where the meter goes, in which condition."""

    probing: Probing
    condition: Condition


@dataclass(frozen=True, slots=True)
class RowForecast:
    """A test's good forecast and those that differ from it, by fault; ``trouble``: why a good
    machine gives no reading here ("" when it does)."""

    good: Forecast
    expect: Mapping[str, Forecast]
    trouble: str = ""


class Wiring:
    """The circuit of a machine with a meter."""

    def __init__(self, machine: Machine, meter: MeterSheet | None) -> None:
        if machine.wires is None:
            raise ValueError(f"{machine.id} has no circuit")
        self.machine, self.meter = machine, meter
        self.conditions = {c.id: c for c in machine.conditions}
        self.faults = {f.id: f for f in machine.faults}

    @cached_property
    def model(self) -> BenchModel:
        """The circuit on the bench, laid out when something is first asked of it."""
        assert self.machine.wires is not None
        return BenchModel(self.machine, self.machine.wires, self.meter)

    def learn(self, condition: Condition) -> None:
        """A condition that the file does not have; its id says what it is."""
        if condition.id not in self.conditions:
            self.model.add(condition)
            self.conditions[condition.id] = condition

    def filled(self, tests: Sequence[Test]) -> tuple[Test, ...]:
        """The tests with the forecasts of their probes; what was written by hand stays."""
        probed = [t for t in tests if t.probe is not None and t.condition in self.conditions]
        rows = dict(zip(
            (t.id for t in probed),
            self.rows([Asked(t.probe, self.conditions[t.condition])
                       for t in probed if t.probe is not None]),
            strict=True,
        ))  # fmt: skip
        return tuple(with_row(t, rows[t.id], self.meter) if t.id in rows else t for t in tests)

    def good_rows(self, asked: Sequence[Asked]) -> list[RowForecast]:
        """Good forecasts alone."""
        good, trouble, _ = self._solved(asked, [])
        return [RowForecast(mixed(g), {}, t) for g, t in zip(good, trouble, strict=True)]

    def rough_rows(self, asked: Sequence[Asked]) -> list[RowForecast]:
        """The same as `rows` from the two ends of the design: enough to choose among tests."""
        return self.rows(asked, (0, POINTS - 1))

    def rows(
        self, asked: Sequence[Asked], design: tuple[int, ...] = tuple(range(POINTS))
    ) -> list[RowForecast]:
        """Forecasts of these probes under every single fault."""
        cases = [(n, f.id, ways_of(f, a.condition))
                 for n, a in enumerate(asked) for f in self.faults.values()]  # fmt: skip
        good, trouble, found = self._solved(asked, cases, design)
        rows, each = [], iter(zip(cases, found, strict=True))
        for n in range(len(asked)):
            forecast = mixed(good[n])
            expect = {}
            for (_, fault, _), pieces in islice(each, len(self.faults)):
                if pieces is not None:
                    expect[fault] = mixed(_with_rest(pieces, forecast))
            rows.append(RowForecast(forecast, {f: e for f, e in expect.items() if e != forecast},
                                    trouble[n]))
        return rows

    def moved_by(
        self, tests: Sequence[Test], marks: Sequence[tuple[str, ...]]
    ) -> list[tuple[str, tuple[str, ...]]]:
        """(test, sorted ids of faults) where more than one of faults that are there at once moves
        the reading, by what each does alone. Sorted."""
        found: dict[tuple[str, tuple[str, ...]], None] = {}
        for test in tests:
            if test.probe is None:
                continue
            for mark in marks:
                moving = tuple(sorted(m for m in mark if m in test.expect))
                if len(moving) > 1 and not any(m in test.by_hand for m in mark):
                    found[test.id, moving] = None
        return sorted(found)

    def together(
        self, tests: Sequence[Test], wanted: Sequence[tuple[str, tuple[str, ...]]]
    ) -> dict[tuple[str, tuple[str, ...]], Forecast]:
        """Forecasts of faults that are there at once, each with the test that reads them. All are
        solved as one, so that the same question always has the same answer to the last digit."""
        by_id = {t.id: t for t in tests}
        read = list(dict.fromkeys(test for test, _ in wanted))
        asked = [Asked(p, self.conditions[by_id[t].condition])
                 for t in read if (p := by_id[t].probe)]  # fmt: skip
        place = {test: n for n, test in enumerate(read)}
        cases = [
            (place[test], "+".join(marks), joined_ways(
                [ways_of(self.faults[m], asked[place[test]].condition) for m in marks]))
            for test, marks in wanted
        ]  # fmt: skip
        _, _, found = self._solved(asked, cases)
        return {
            (test, marks): good if pieces is None else mixed(_with_rest(pieces, good))
            for (test, marks), pieces in zip(wanted, found, strict=True)
            for good in [by_id[test].good]
        }

    def _solved(
        self,
        asked: Sequence[Asked],
        cases: Sequence[tuple[int, str, tuple[Way, ...]]],
        rows: tuple[int, ...] = tuple(range(POINTS)),
    ) -> tuple[list[list[Piece]], list[str], list[list[Piece | float] | None]]:
        """(pieces of a good machine; why it gives no reading; pieces of each case, None where it
        reads as good). A float among the pieces: a share that reads good.

        Two machines are looked at first; only what moves the reading there is read in all. Where
        the main source feeds the leads, all are read once more with it in the middle of its span.
        """
        probes = [self.model.probes(a.probing) for a in asked]
        good_asked = [Reading(a.condition.id, (), p)
                      for a, ps in zip(asked, probes, strict=True) for p in ps]  # fmt: skip
        entries = [(n, way) for n, _, ways in cases for way in ways if way.changes]
        looked = list(dict.fromkeys(
            (n, way.changes) for n, way in entries
            if any(self.model.touches(asked[n].condition.id, way.changes, p) for p in probes[n])
        ))  # fmt: skip
        scope = Scope(self.model, [
            *good_asked,
            *(Reading(asked[n].condition.id, cs, p) for n, cs in looked for p in probes[n]),
        ])
        flat = iter(scope.read(good_asked, rows))
        good = [[next(flat) for _ in ps] for ps in probes]
        trouble = [next((s.message for o in g for s in o if isinstance(s, NoReading)), "")
                   for g in good]  # fmt: skip
        written = [_outcomes(g, ps, a.probing)
                   for a, g, ps in zip(asked, good, probes, strict=True)]  # fmt: skip
        doubt = [self._doubt(a.probing.read, w) for a, w in zip(asked, written, strict=True)]
        first, last = rows[0], rows[-1]
        ends = _read(scope, asked, probes, looked, (first, last))
        moved = [
            key for key, seen in zip(looked, ends, strict=True)
            if not _alike(seen, [written[key[0]][i] for i in (0, -1)], doubt[key[0]])
        ]  # fmt: skip
        inner = _read(scope, asked, probes, moved, rows[1:-1])
        at_ends = dict(zip(looked, ends, strict=True))
        whole = {key: [at_ends[key][0], *mid, at_ends[key][1]]
                 for key, mid in zip(moved, inner, strict=True)}  # fmt: skip
        several = [key for key in moved if _ranges(key[1]) > 1]
        corners = _read(scope, asked, probes, several, CORNERS)
        for key, seen in zip(several, corners, strict=True):
            whole[key] += seen
        held = self._held(scope, asked, probes, list(whole), several, rows)
        pieces = [pieces_of(w, a.probing.read, held=held.get((n, ()), ()))
                  for n, (a, w) in enumerate(zip(asked, written, strict=True))]  # fmt: skip
        found: list[list[Piece | float] | None] = []
        for n, _, ways in cases:
            firm = is_firm(written[n], asked[n].probing.read)
            found.append(_case_pieces(ways, n, whole, asked[n].probing, firm, held))
        return pieces, trouble, found

    def _held(
        self, scope: Scope, asked: Sequence[Asked], probes: Sequence[Sequence[Probe]],
        moved: Sequence[_Case], several: Sequence[_Case], rows: Sequence[int],
    ) -> dict[_Case, list[tuple[Outcome, float]]]:  # fmt: skip
        """What the good machines and the cases read with the main source in the middle, and where
        it really stands; nothing from less than the whole design."""
        if self.model.source is None or len(rows) < POINTS:
            return {}
        fed = {n for n, (a, ps) in enumerate(zip(asked, probes, strict=True))
               if a.probing.write != "spread"
               and any(self.model.is_fed(a.condition.id, p) for p in ps)}  # fmt: skip
        found: dict[_Case, list[tuple[Outcome, float]]] = {}
        good: list[_Case] = [(n, ()) for n in sorted(fed)]
        for keys, some in (([*good, *moved], rows), (several, CORNERS)):
            wanted = [key for key in keys if key[0] in fed]
            for key, seen in zip(
                wanted, _read(scope, asked, probes, wanted, [HELD + r for r in some]), strict=True
            ):
                at = [self.model.source_at(key[1], r) for r in some]
                found.setdefault(key, []).extend(zip(seen, at, strict=True))
        return found

    def doubt_at(self, test: Test, good: Forecast) -> float:
        """Standard uncertainty of the meter at a good reading, base units."""
        values = [v for p in good.pieces if p.kind in ("between", "log", "around")
                  for v in ([p.low] if p.kind == "around" else [p.low, p.high])]  # fmt: skip
        return self._doubt(test.quantity, values) or float(rough_budget(test.quantity, 0.0).u)

    def _doubt(self, read: Quantity, outcomes: Sequence[Outcome]) -> float:
        """Standard uncertainty of the meter at the good readings; 0 where they are no values."""
        values = [abs(o) for o in outcomes if not isinstance(o, str)]
        if not values:
            return 0.0
        if self.meter is not None and self.meter.ranges(read):
            u_random, u_shared, _ = self.meter.u_at(read, [max(values)])
            return float((u_random[0] ** 2 + u_shared[0] ** 2) ** 0.5)
        return float(rough_budget(read, max(values)).u)


def ways_of(fault: Fault, condition: Condition) -> tuple[Way, ...]:
    """The ways in which a fault is there in this condition; their shares make 1."""
    of_file = condition.id.partition(JOIN)[0]
    acting = [c for c in fault.changes if c.acts(of_file, condition.circumstance)]
    always = tuple(c for c in acting if c.share is None)
    jumps = max((c.unsteady for c in always), default=0.0)
    either = [c for c in acting if c.share is not None]
    ways = [Way(c.share or 0.0, (*always, c), max(jumps, c.unsteady)) for c in either]
    rest = 1.0 - sum(w.share for w in ways)
    if rest > 1e-9:
        ways.append(Way(rest, always, jumps))
    return tuple(ways)


def joined_ways(each: Sequence[tuple[Way, ...]]) -> tuple[Way, ...]:
    """Every combination of ways of several faults, the likeliest first."""
    found = []
    for ways in product(*each):
        share, steady = 1.0, 1.0
        for way in ways:
            share, steady = share * way.share, steady * (1 - way.unsteady)
        found.append(Way(share, tuple(c for w in ways for c in w.changes), 1 - steady))
    found.sort(key=lambda w: -w.share)
    kept = found[:MOST_WAYS]
    total = sum(w.share for w in kept)
    return tuple(Way(w.share / total, w.changes, w.unsteady) for w in kept)


def _ranges(changes: Sequence[Change]) -> int:
    return sum(is_range(c.ohms) or is_range(c.span) for c in changes)


def _read(
    scope: Scope,
    asked: Sequence[Asked],
    probes: Sequence[Sequence[Probe]],
    keys: Sequence[tuple[int, tuple[Change, ...]]],
    rows: Sequence[int],
) -> list[list[Outcome]]:
    readings = [Reading(asked[n].condition.id, changes, p)
                for n, changes in keys for p in probes[n]]  # fmt: skip
    flat = iter(scope.read(readings, rows))
    return [_outcomes([next(flat) for _ in probes[n]], probes[n], asked[n].probing)
            for n, _ in keys]  # fmt: skip


def _outcomes(
    shown: Sequence[Sequence[Shown]], probes: Sequence[Probe], probing: Probing
) -> list[Outcome]:
    """[pair][row] to what is written down in each row."""
    each = ([outcome_of(s, probe) for s in pair] for pair, probe in zip(shown, probes, strict=True))
    return [picked(row, probing.write) for row in zip(*each, strict=True)]


def _alike(seen: Sequence[Outcome], good: Sequence[Outcome], doubt: float) -> bool:
    for a, b in zip(seen, good, strict=True):
        if isinstance(a, str) or isinstance(b, str):
            if a != b:
                return False
        elif abs(a - b) > max(ALIKE * doubt, 1e-6):
            return False
    return True


def _case_pieces(
    ways: Sequence[Way],
    row: int,
    whole: Mapping[_Case, list[Outcome]],
    probing: Probing,
    firm: bool,
    held: Mapping[_Case, Sequence[tuple[Outcome, float]]],
) -> list[Piece | float] | None:
    """The pieces of a fault; None when no way of it moves the reading."""
    found: list[Piece | float] = []
    moves = False
    for way in ways:
        outcomes = whole.get((row, way.changes))
        if outcomes is None:
            found.append(way.share)
            continue
        moves = True
        found += pieces_of(outcomes, probing.read, way.share * (1 - way.unsteady), firm=firm,
                           held=held.get((row, way.changes), ()))  # fmt: skip
        if way.unsteady:
            found.append(Piece("unsteady", share=way.share * way.unsteady))
    return found if moves else None


def _with_rest(pieces: Sequence[Piece | float], good: Forecast) -> list[Piece]:
    """Shares that read as good become pieces of the good forecast."""
    found = [p for p in pieces if isinstance(p, Piece)]
    rest = sum(p for p in pieces if isinstance(p, float))
    if rest > 0:
        found += [replace(p, share=p.share * rest) for p in good.pieces]
    return found


def with_row(test: Test, row: RowForecast, meter: MeterSheet | None) -> Test:
    """The test with the readings worked out; what is written by hand stays. What is good in words
    is as this meter shows it."""
    good = test.good if "" in test.by_hand else row.good
    expect = {**test.expect, **{f: e for f, e in row.expect.items() if f not in test.expect}}
    if row.good is not good:  # a good machine by hand: then no reading here tells of the source
        expect = {f: unheld(e) for f, e in expect.items()}
    reads = test.good_reads or expected_words(good, test.quantity, meter)
    return replace(test, good=good, expect=expect, good_reads=reads)
