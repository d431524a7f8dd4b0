"""What must read good dead before anything is made live.

A short behind the terminals that meets a charged pack makes an arc and a fire, so the input is
proven dead first (the sheets' own caution: only after the input is known not to be shorted;
common practice, maker's own order overrides). The order alone is no gate: what was read has to be
good as well, and a reading that fits no suspect is taken once more before it counts.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Mapping, Sequence
from typing import Final

from knowngood.diagnosis.sentences import value_by_limits
from knowngood.diagnosis.views import Judged
from knowngood.isolate.bands import SHOWN_OUT
from knowngood.isolate.likelihood import extremeness
from knowngood.isolate.round_edges import legible_step
from knowngood.isolate.slips import SUSPICIOUS
from knowngood.isolate.table import Row, Table
from knowngood.machines.machine import Machine, Test
from knowngood.measure.display import first_count
from knowngood.measure.meter import MeterSheet
from knowngood.measure.typed import read_text
from knowngood.measure.units import DIMENSION_OF, format_value

DEAD: Final = frozenset({"ohms", "diode"})
SETTLES: Final = 2  # readings after which one too close to tell is taken as it is


def not_live_yet(machine: Machine, judged: Sequence[Judged]) -> Mapping[str, str]:
    """Live tests held back, with the reason: a dead test that comes before them was read and is
    not good. One that was not read yet holds them back by the order of the tests."""
    live = {c.id for c in machine.conditions if c.energised}
    dead = {t.id: t for t in machine.tests if t.quantity in DEAD and t.condition not in live}
    bad = {j.test: j for j in judged if j.test in dead and not _settled(j)}
    held = {}
    for test in machine.tests:
        first = [bad[id] for id in test.after if id in bad]
        if test.condition in live and first:
            held[test.id] = _why(first[0], dead[first[0].test])
    return held


def _settled(one: Judged) -> bool:
    """Good, or too close to tell each time it was read."""
    return one.slip_chance < SUSPICIOUS and (
        one.verdict == "good" or (one.verdict == "can't tell" and len(one.items) >= SETTLES)
    )


def _why(one: Judged, test: Test) -> str:
    return f"nothing live before {test.question} reads good; it reads {one.reads}"


def read_once_more(judged: Sequence[Judged], held: Collection[str]) -> tuple[str, ...]:
    """Tests to take again before anything live: read once, and no suspect explains the reading.
    None where nothing live waits for it."""
    if not held:
        return ()
    return tuple(j.test for j in judged if len(j.items) == 1 and not _settled(j)
                 and (j.slip_chance >= SUSPICIOUS or j.verdict == "can't tell"))  # fmt: skip


def waiting_for(machine: Machine) -> Mapping[str, frozenset[str]]:
    """Dead tests that must read good, each with the live tests that wait for it."""
    live = {c.id for c in machine.conditions if c.energised}
    dead = {t.id for t in machine.tests if t.quantity in DEAD and t.condition not in live}
    found: dict[str, set[str]] = {}
    for test in machine.tests:
        if test.condition in live:
            for id in test.after:
                if id in dead:
                    found.setdefault(id, set()).add(test.id)
    return {id: frozenset(tests) for id, tests in found.items()}


def good_stretches(
    machine: Machine, table: Table, meter: MeterSheet | None
) -> dict[str, tuple[float, float]]:
    """From where to where (base units) the tests of `waiting_for` read good on this meter: within
    their limits, kept off them by the doubt of the meter, else such as a good machine reads. Drawn
    in to what the meter can tell. An end is infinite where nothing is too low, or too high; a test
    that never reads good has low above high."""
    tests = {t.id: t for t in machine.tests}
    return {id: _stretch(tests[id], table.rows[id], meter)
            for id in waiting_for(machine) if id in table.rows}  # fmt: skip


def _stretch(test: Test, row: Row, meter: MeterSheet | None) -> tuple[float, float]:
    spans = [p for p in row.forecasts[row.good].pieces if p.kind in ("between", "log", "around")]
    if not spans:
        return math.inf, -math.inf
    low = min(p.low - (4 * p.high if p.kind == "around" else 0.0) for p in spans)
    high = max(p.low + 4 * p.high if p.kind == "around" else p.high for p in spans)
    if test.limits is not None:
        low = low if test.limits.low is None else min(low, test.limits.low)
        high = high if test.limits.high is None else max(high, test.limits.high)

    def is_good(value: float) -> bool:
        text = format_value(value, DIMENSION_OF[test.quantity], 5)
        reading = read_text(text, test.quantity, meter)
        if reading.kind != "value":
            return False
        if verdict := value_by_limits(test, reading):
            return verdict == "good"
        return float(extremeness(row.mixture, reading, row.spread)[row.good]) > SHOWN_OUT

    tried = [low + (high - low) * k / 40 for k in range(41)]
    if low > 0:
        tried += [low * (high / low) ** (k / 40) for k in range(41)]
    fit = sorted(v for v in tried if is_good(v))
    if not fit:
        return math.inf, -math.inf
    first = _edge(is_good, fit[0], low - (high - low))
    last = _edge(is_good, fit[-1], high + (high - low))
    ends = None if meter is None else meter.limit(test.quantity)
    last = math.inf if ends is not None and last >= ends else last
    return _inward(first, test, meter), -_inward(-last, test, meter)


def _edge(is_good: Callable[[float], bool], good: float, beyond: float) -> float:
    """The last good value from ``good`` on towards ``beyond``; infinite where all of it is."""
    if is_good(beyond):
        return math.copysign(math.inf, beyond - good)
    for _ in range(60):
        middle = (good + beyond) / 2
        if good > 0 and beyond > 4 * good:
            middle = math.sqrt(good * beyond)
        good, beyond = (middle, beyond) if is_good(middle) else (good, middle)
    return good


def _inward(value: float, test: Test, meter: MeterSheet | None) -> float:
    """The next value up that is no finer than the meter can tell."""
    if value == 0 or not math.isfinite(value):
        return value
    text = format_value(abs(value), DIMENSION_OF[test.quantity], 5)
    step = legible_step(read_text(text, test.quantity, meter).u)
    up = float(f"{math.ceil(round(value / step, 6)) * step:.6g}")
    return first_count(meter, test.quantity, up)
