"""What must be back together for a test: earlier steps that would change its reading.

A plug that another test had parted, or a lead off its tab, makes a perfect machine read over range.
The wiring tells which: the readings of every test, good and under every fault, are worked out in
the state of its condition and again with a further step done. Where one differs beyond the meter,
the step must be back first (``Test.back_first``). The file's own word stays: what a condition wants
open is open, and what its ``states`` say holds whatever is off.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Final

from knowngood.isolate.forecast import Forecast, Piece
from knowngood.machines.machine import Condition, Machine, TeardownStep, Test
from knowngood.machines.safety import with_dependents, with_needs
from knowngood.machines.wiring import JOIN, Asked, RowForecast, Wiring
from knowngood.measure.meter import MeterSheet

SHARE: Final = 0.02
"""Shares of a forecast, and ends of it against their size, closer than this count as the same."""

_Case = tuple[Test, tuple[str, ...]]


def back_first(
    machine: Machine, meter: MeterSheet | None, tests: Sequence[Test],
    states: Iterable[Condition] = (),
) -> dict[str, tuple[str, ...]]:
    """By test, the steps that must be back for its reading beside those its condition wants shut;
    tests without are left out. ``states``: conditions of tests that the file does not have."""
    wiring = Wiring(machine, meter)
    for state in states:
        wiring.learn(state)
    steps = {s.id: s for s in machine.teardown}
    parting = [s.id for s in machine.teardown if s.states]
    probed = [t for t in tests if t.probe is not None and t.condition in wiring.conditions]
    shut = {t.id: _settled(steps, wiring.conditions[t.condition], _beside_points(machine, t))
            for t in probed}  # fmt: skip

    def close(cases: Sequence[_Case]) -> None:
        for test, more in _changed(wiring, cases):
            condition = wiring.conditions[test.condition]
            shut[test.id] = _settled(steps, condition, (*shut[test.id], *more))

    def standing(test: Test) -> tuple[str, ...]:
        condition = wiring.conditions[test.condition]
        fixed = with_needs(steps, condition.open) | set(condition.closed) | set(shut[test.id])
        return tuple(s for s in parting if s not in fixed)

    close([(t, (s,)) for t in probed for s in standing(t)])
    close([(t, several) for t in probed if len(several := standing(t)) > 1])
    return {id: more for id, more in shut.items() if more}


def with_back_first(
    tests: Iterable[Test], back: Mapping[str, tuple[str, ...]]
) -> tuple[Test, ...]:
    """The tests with the steps that must be back for them."""
    return tuple(replace(t, back_first=back[t.id]) if t.id in back else t for t in tests)


def _settled(
    steps: Mapping[str, TeardownStep], condition: Condition, more: Iterable[str]
) -> tuple[str, ...]:
    """These steps and what needs them, without those that the condition wants shut anyway."""
    opened = with_needs(steps, condition.open)
    wanted = [s for s in more if s not in opened]
    all_shut = with_dependents(steps, condition.open, (*condition.closed, *wanted))
    return tuple(s for s in steps if s in all_shut and s not in condition.closed)


def _beside_points(machine: Machine, test: Test) -> tuple[str, ...]:
    """Steps that take a point away that the test probes."""
    points = machine.wires.points if machine.wires else {}
    nodes = [n for pair in (test.probe.pairs if test.probe else ()) for n in pair if n in points]
    return tuple(s for n in nodes for s in points[n].closed)


def _changed(wiring: Wiring, cases: Sequence[_Case]) -> list[_Case]:
    """Those of the cases whose test reads otherwise with these steps done besides: a good machine
    does, or one with a fault."""
    asked: list[tuple[_Case, Asked]] = []
    for test, more in cases:
        base = wiring.conditions[test.condition]
        made = replace(base, id=JOIN.join((base.id, *more)), open=(*base.open, *more))
        wiring.learn(made)
        if test.probe is not None and not _stands_alike(wiring, test, base.id, made.id):
            asked.append(((test, more), Asked(test.probe, wiring.conditions[made.id])))
    tests = list({case[0].id: case[0] for case, _ in asked}.values())
    plain = [Asked(t.probe, wiring.conditions[t.condition]) for t in tests if t.probe]

    def split(
        some: Sequence[tuple[_Case, Asked]], rows: Sequence[RowForecast],
        was: Sequence[RowForecast],
    ) -> tuple[list[_Case], list[tuple[_Case, Asked]]]:
        before = {t.id: row for t, row in zip(tests, was, strict=True)}
        moved, alike = [], []
        for (case, one), row in zip(some, rows, strict=True):
            old = before[case[0].id]
            if _reads_alike(row, old, wiring.doubt_at(case[0], old.good)):
                alike.append((case, one))
            else:
                moved.append(case)
        return moved, alike

    moved, alike = split(asked, wiring.good_rows([a for _, a in asked]), wiring.good_rows(plain))
    hidden, _ = split(alike, wiring.rough_rows([a for _, a in alike]), wiring.rough_rows(plain))
    return [*moved, *hidden]


def _stands_alike(wiring: Wiring, test: Test, one: str, other: str) -> bool:
    """Whether nothing that hangs together with the leads stands otherwise."""
    if wiring.model.like(one) == wiring.model.like(other):
        return True
    pairs = test.probe.pairs if test.probe else ()
    return bool(pairs) and all(
        wiring.model.local(one, *pair) == wiring.model.local(other, *pair) for pair in pairs)


def _reads_alike(one: RowForecast, other: RowForecast, doubt: float) -> bool:
    """Whether two rows are the same to a meter of this standard uncertainty."""
    if bool(one.trouble) != bool(other.trouble) or not _alike(one.good, other.good, doubt):
        return False
    return all(
        _alike(one.expect.get(f, one.good), other.expect.get(f, other.good), doubt)
        for f in {*one.expect, *other.expect}
    )


def _alike(one: Forecast, other: Forecast, doubt: float) -> bool:
    if one.yes is not None or other.yes is not None:
        return one.yes == other.yes
    a, b = (sorted(f.pieces, key=_order) for f in (one, other))
    return len(a) == len(b) and all(
        p.kind == q.kind and abs(p.share - q.share) <= SHARE
        and _near(p.low, q.low, doubt) and _near(p.high, q.high, doubt)
        for p, q in zip(a, b, strict=True)
    )  # fmt: skip


def _order(piece: Piece) -> tuple[str, float, float]:
    return piece.kind, piece.low, piece.high


def _near(a: float, b: float, doubt: float) -> bool:
    return abs(a - b) <= max(doubt, SHARE * max(abs(a), abs(b)))
