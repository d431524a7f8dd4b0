"""What must read good dead before anything is made live.

A short behind the terminals that meets a charged pack makes an arc and a fire, so the input is
proven dead first (the sheets' own caution: only after the input is known not to be shorted;
common practice, maker's own order overrides). The order alone is no gate: what was read has to be
good as well, and a reading that fits no suspect is taken once more before it counts. Once it reads
bad the machine's own source stays out altogether, until it reads good twice on end, whether that
is today or when the part has come; a pack by itself, or a bench supply on what was unplugged, is
another thing. Likewise a bent blade that was seen is not run.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Final, Literal

from knowngood.diagnosis.sentences import value_by_limits
from knowngood.diagnosis.views import Judged, Verdict
from knowngood.isolate.bands import SHOWN_OUT
from knowngood.isolate.belief import Item
from knowngood.isolate.likelihood import extremeness
from knowngood.isolate.round_edges import legible_step
from knowngood.isolate.slips import SUSPICIOUS
from knowngood.isolate.table import Row, Table
from knowngood.machines.machine import Machine, Test
from knowngood.measure.display import first_count
from knowngood.measure.meter import MeterSheet
from knowngood.measure.reading import Reading
from knowngood.measure.typed import read_text
from knowngood.measure.units import DIMENSION_OF, format_value

DEAD: Final = frozenset({"ohms", "diode"})
SETTLES: Final = 2  # readings on end after which it counts: good after bad, or too close to tell
WAY_OUT: Final = "Mended, read it again; a slip, withdraw it"
TWICE: Final = "Mended, read it twice; a slip, withdraw it"
NOTHING_LIVE: Final = "nothing live"
NOTHING_RUN: Final = "nothing is run"


@dataclass(frozen=True, slots=True)
class Barrier:
    """A test at rest that stands before live ones.

    ``waits``: tests that come after it; ``connected``: for a short all that put the machine's own
    source in, for a look those that it holds whether they wait for it or not.
    A ``short`` proof reads too low when something is shorted. A ``path`` reads too high when it is
    open, which hurts nothing: it has to be read, not to be good. A ``look`` is a yes or no, and
    holds the runs that wait for it.
    """

    kind: Literal["short", "path", "look"]
    waits: frozenset[str]
    connected: frozenset[str]

    def held(self, open_end: bool) -> frozenset[str]:
        """Tests not to be taken after a reading that is not good; ``open_end``: it lies above
        what is good, so nothing is shorted there."""
        if self.kind == "path":
            return frozenset()
        return self.waits if open_end and self.kind == "short" else self.waits | self.connected


def barriers(machine: Machine, table: Table) -> Mapping[str, Barrier]:
    """The tests that hold live ones back when they are not good, by id."""
    connected = _connected(machine)
    tests = {t.id: t for t in machine.tests}
    waits_for_look = _looks(machine, table, connected)
    looks = {}
    for look in tests.values():
        waits = waits_for_look.get(look.id, frozenset())
        if waits or look.holds:
            looks[look.id] = Barrier("look", waits, waits.union(look.holds))
    return looks | {id: Barrier("path" if _is_path(tests[id]) else "short", waits, connected)
                    for id, waits in waiting_for(machine).items()}  # fmt: skip


def _connected(machine: Machine) -> frozenset[str]:
    """Tests with the machine's own source in: what takes it out must be back for them."""
    out = {s.id for s in machine.teardown if s.role == "source out"}
    live = {c.id for c in machine.conditions if c.energised and c.volts is None}
    return frozenset(t.id for t in machine.tests
                     if t.condition in live and out & {*machine.state_of(t).closed})  # fmt: skip


def _looks(
    machine: Machine, table: Table, connected: frozenset[str]
) -> Mapping[str, frozenset[str]]:
    """Looks at rest, each with the runs that wait for it. One that not every run of a state waits
    for is there for the order alone (the fuel before the first try)."""
    rows, live = table.rows, {c.id for c in machine.conditions if c.energised}
    runs = [t for t in machine.tests if t.id in connected and t.id in rows]
    found = {}
    for look in machine.tests:
        if look.quantity == "yes_no" and not look.hazard and look.condition not in live:
            waits = frozenset(t.id for t in runs if look.id in rows[t.id].after)
            free = {t.condition for t in runs if t.id not in waits}
            if any(t.condition not in free for t in runs if t.id in waits):
                found[look.id] = waits
    return found


def _is_path(test: Test) -> bool:
    """Good is conducting: nothing reads too low."""
    limits = test.limits
    return (test.quantity == "ohms" and limits is not None and limits.high is not None
            and (limits.low is None or limits.low <= 0))  # fmt: skip


def not_live_yet(
    machine: Machine, table: Table, judged: Sequence[Judged], items: Sequence[Item]
) -> Mapping[str, str]:
    """Live tests held back, with the reason: a test that comes before them was read and is not
    good. One that was not read yet holds them back by the order of the tests. ``judged`` in the
    order taken, from ``items``."""
    tests = {t.id: t for t in machine.tests}
    taken = {i.id: i.reading for i in items}
    found = barriers(machine, table)
    held: dict[str, str] = {}
    for test, mine in _by_test(judged).items():
        barrier = found.get(test)
        if barrier is None or _settled(mine, barrier):
            continue
        reads = [(taken[id], v) for j in mine for id, v in zip(j.items, j.each, strict=True)]
        open_end = mine[-1].slip_chance < SUSPICIOUS and all(
            v == "good" or _above(tests[test], r) for r, v in reads
        )
        for id in barrier.held(open_end):
            held.setdefault(id, _why(mine, barrier))
    return held


def _by_test(judged: Sequence[Judged]) -> Mapping[str, tuple[Judged, ...]]:
    """The judgements of each test on every visit, before and after what undoes it, in order."""
    found: dict[str, tuple[Judged, ...]] = {}
    for one in judged:
        found[one.test] = (*found.get(one.test, ()), one)
    return found


def _each(mine: Sequence[Judged]) -> tuple[Verdict, ...]:
    return tuple(v for one in mine for v in one.each)


def _settled(mine: Sequence[Judged], barrier: Barrier) -> bool:
    """Good, or too close to tell each time it was read. What reads ohms or a diode and was bad
    once, on whichever day, must read good `SETTLES` times on end: one good reading after a short
    may be the slip, and a short that comes and goes stands open at times. Of a look the last."""
    last, each = mine[-1], _each(mine)
    if barrier.kind != "look" and "bad" in each:
        return each[-SETTLES:] == ("good",) * SETTLES
    return last.slip_chance < SUSPICIOUS and (
        last.verdict == "good" or (last.verdict == "can't tell" and len(last.items) >= SETTLES)
    )


def _above(test: Test, reading: Reading) -> bool:
    """All of the reading lies above what is good."""
    top = math.inf if test.limits is None or test.limits.high is None else test.limits.high
    return reading.kind == "over" or (reading.low is not None and reading.low > top)


def _why(mine: Sequence[Judged], barrier: Barrier) -> str:
    last = mine[-1]
    if barrier.kind == "look":
        return f"{NOTHING_RUN} before this is good: {last.question} {last.reads}. {WAY_OUT}"
    if "bad" not in _each(mine):
        return f"{NOTHING_LIVE} before {last.question} reads good; it reads {last.reads}. {WAY_OUT}"
    once = " once more" if _each(mine)[-1] == "good" else ""
    return (f"{NOTHING_LIVE} before {last.question} reads good{once}; it reads {last.reads}"
            f"{', and was not good before' if once else ''}. {TWICE}")  # fmt: skip


def is_gated(why: str) -> bool:
    """This reason to hold a test back is one of `not_live_yet`."""
    return why.startswith((NOTHING_LIVE, NOTHING_RUN))


def read_once_more(
    machine: Machine, table: Table, judged: Sequence[Judged], held: Collection[str]
) -> tuple[str, ...]:
    """Tests of `barriers` to take again before anything live: read once, and no suspect explains
    the reading; or a short proof that was bad and no longer is, or is not each time. None where
    nothing live waits for it."""
    found = barriers(machine, table) if held else {}
    left = {test: mine for test, mine in _by_test(judged).items()
            if test in found and not _settled(mine, found[test])}  # fmt: skip
    return tuple(test for test, mine in left.items()
                 if _odd(mine[-1]) or (found[test].kind == "short" and _differs(mine)))  # fmt: skip


def _odd(one: Judged) -> bool:
    """Read once, and it says too little."""
    return len(one.items) == 1 and (one.slip_chance >= SUSPICIOUS or one.verdict == "can't tell")


def _differs(mine: Sequence[Judged]) -> bool:
    """Bad once, and the last reading is not; or what was read on end says now this, now that."""
    each = _each(mine)
    return "bad" in each and (each[-1] != "bad" or len(set(mine[-1].each)) > 1)


def waiting_for(machine: Machine) -> Mapping[str, frozenset[str]]:
    """Dead tests that must be read first, each with the live tests that wait for it."""
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
    """From where to where (base units) the short proofs of `waiting_for` read good on this meter:
    within their limits, kept off them by the doubt of the meter, else such as a good machine reads.
    Drawn in to what the meter can tell. An end is infinite where nothing is too low, or too high; a
    test that never reads good has low above high."""
    tests = {t.id: t for t in machine.tests}
    return {id: _stretch(tests[id], table.rows[id], meter)
            for id in waiting_for(machine)
            if id in table.rows and not _is_path(tests[id])}  # fmt: skip


def _stretch(test: Test, row: Row, meter: MeterSheet | None) -> tuple[float, float]:
    no_top = open_is_good(row) and (test.limits is None or test.limits.high is None)
    spans = [p for p in row.forecasts[row.good].pieces if p.kind in ("between", "log", "around")]
    if not spans:
        return (_first_good(test, meter), math.inf) if no_top else (math.inf, -math.inf)
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
    last = math.inf if no_top or (ends is not None and last >= ends) else last
    return _inward(first, test, meter), -_inward(-last, test, meter)


def open_is_good(row: Row) -> bool:
    """A good machine shows over range in this test: nothing there reads too high."""
    return sum(p.share for p in row.forecasts[row.good].pieces if p.kind == "over") > SHOWN_OUT


def _first_good(test: Test, meter: MeterSheet | None) -> float:
    """Where good begins of a test whose good is OL: at its lower limit, kept off it by the doubt
    of the meter. Infinite without one: no value on the display is OL."""
    low = None if test.limits is None else test.limits.low
    if not low or low < 0:
        return math.inf

    def is_good(value: float) -> bool:
        text = format_value(value, DIMENSION_OF[test.quantity], 5)
        return value_by_limits(test, read_text(text, test.quantity, meter)) == "good"

    first = next((v for k in range(1, 41) if is_good(v := low * 1.05**k)), math.inf)
    return first if math.isinf(first) else _inward(_edge(is_good, first, low / 2), test, meter)


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
