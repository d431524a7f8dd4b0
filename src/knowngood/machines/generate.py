"""The tests that a wiring offers: where to put the probes, beyond those that the file declares.

Only in declared conditions; between a point and the return, or the ends of one element or of a
series run. Tests that part the cure sets alike are merged, dominated ones go (coarser, not cheaper,
not easier to reach). Of the rest those are taken that make telling faults apart cheapest together
with the declared ones, one after another, until there are MOST tests in all.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from knowngood.circuit.probe import Read
from knowngood.isolate.forecast import Forecast
from knowngood.machines.electric import Point, Probing
from knowngood.machines.machine import Condition, Machine, Test
from knowngood.machines.safety import with_needs
from knowngood.machines.wiring import JOIN, Asked, RowForecast, Wiring, with_row

MOST: Final = 60
"""Tests of a machine, declared and worked out together."""
LEAST_BITS: Final = 0.001
"""A test must tell this much, with the faults weighted as in the file."""
UNTOLD: Final = 240.0
"""What it counts, in minutes, when no test at all tells two faults apart (common practice: half a
day is lost, and a part on trial)."""
RARE: Final = 0.012
"""A reading that a fault gives at most this often shows it out."""
LEAST_GAIN: Final = 1e-6
"""Minutes that a further test must save, of those that all tests together leave to be spent."""
MANY_BITS: Final = 0.05
"""What a test must tell that is only to make the way shorter."""
PROOF: Final = 3.0
"""What it counts that a fault shows alone, against that all pairs are told apart."""
HEALTHY: Final = 0.05
"""Weight of no fault at all, beside faults that make 1 together."""
MINUTES: Final[Mapping[Read, float]] = {"volts": 1.0, "ohms": 1.0, "diode": 1.5, "amps": 2.0}
SOURCE: Final = "worked out from the wiring"
_SIDES: Final[Mapping[Read, str]] = {"volts": "Volts", "ohms": "Ohms", "diode": "Diode test"}


_Span = tuple[str, float, float, float]
"""Kind, low, high, share of what may be read."""


@dataclass(frozen=True)
class _Candidate:
    """A test, what it costs with all that must be opened, and the label that each fault gets."""

    test: Test
    minutes: float
    opens: frozenset[str]
    labels: tuple[int, ...]
    good: int  # the label of a machine without a fault
    shows: tuple[tuple[_Span, ...], ...]  # of each fault, the last of none
    bits: float

    @property
    def all(self) -> tuple[int, ...]:
        """The labels, the last of a machine without a fault."""
        return (*self.labels, self.good)


def further_tests(wiring: Wiring, declared: Sequence[Test]) -> tuple[Test, ...]:
    """Tests to add to the declared ones, the most telling for their minutes first."""
    room = MOST - len(declared)
    if room <= 0:
        return ()
    machine = wiring.machine
    known = {(wiring.model.like(t.condition), t.probe.read, frozenset(pair))
             for t in declared if t.probe is not None for pair in t.probe.pairs}  # fmt: skip
    asked = _once(wiring, [
        Asked(Probing(read, ((red, black),)), condition)
        for condition in machine.conditions
        for read, red, black in offered_pairs(wiring, condition)
        if (wiring.model.like(condition.id), read, frozenset((red, black))) not in known
    ])  # fmt: skip
    rows = wiring.rough_rows(asked)
    judge = _Judge(machine)
    found = [
        judge.candidate(wiring, made, row)
        for a, row in zip(asked, rows, strict=True)
        if not row.trouble and _settles(row)
        for made in [made_test(machine, a.condition, a.probing)]
    ]
    known_ones = [judge.declared(wiring, t) for t in declared]
    kept = _pruned([c for c in found if c.bits >= LEAST_BITS], known_ones)
    chosen = [c.test for c in judge.best(kept, known_ones, room)]
    full = wiring.rows([Asked(t.probe, wiring.conditions[t.condition]) for t in chosen if t.probe])
    return tuple(with_row(t, row, wiring.meter) for t, row in zip(chosen, full, strict=True))


def _once(wiring: Wiring, asked: Sequence[Asked]) -> list[Asked]:
    """The same points in the same wiring only in the condition that is cheapest to reach."""
    steps = {s.id: s for s in wiring.machine.teardown}
    best: dict[object, tuple[float, Asked]] = {}
    for a in asked:
        ((red, black),) = a.probing.pairs
        place = (a.probing.read, frozenset((red, black)), a.condition.circumstance,
                 wiring.model.local(a.condition.id, red, black))  # fmt: skip
        price = sum(steps[s].minutes + steps[s].back_minutes
                    for s in with_needs(steps, a.condition.open))  # fmt: skip
        if place not in best or price < best[place][0]:
            best[place] = (price, a)
    return [a for _, a in best.values()]


def reachable(machine: Machine, condition: Condition) -> dict[str, Point]:
    """The points that a probe reaches in a condition."""
    if machine.wires is None:
        return {}
    steps = {s.id: s for s in machine.teardown}
    opened = with_needs(steps, condition.open)
    return {
        node: p for node, p in machine.wires.points.items()
        if with_needs(steps, p.open) <= opened and not opened & set(p.closed)
    }  # fmt: skip


def offered_pairs(wiring: Wiring, condition: Condition) -> Iterator[tuple[Read, str, str]]:
    """(read, red, black) worth a look in a condition; nothing that would not be safe."""
    machine = wiring.machine
    if not condition.generate or machine.wires is None:
        return
    points = reachable(machine, condition)
    common = [n for n, p in points.items() if p.common]
    pairs: dict[tuple[str, str], None] = {}
    for node in points:
        # ohms through a capacitor climb, and through junctions say little of anything else
        if not wiring.model.is_live(condition.id, node) and wiring.model.is_bent(
            condition.id, node
        ):
            continue
        for base in common:
            if node != base and not points[node].common:
                pairs[node, base] = None
    for run in wiring.model.runs(condition.id):
        seen = [n for n in run if n in points]
        for a, b in pairwise(seen):
            pairs[(b, a) if points[a].common else (a, b)] = None
        if len(seen) > 2 and seen[0] != seen[-1]:
            pairs[seen[0], seen[-1]] = None
    for a, b in wiring.model.ends(condition.id):
        if a in points and b in points and a != b and (b, a) not in pairs:
            pairs[(b, a) if points[a].common else (a, b)] = None
    for red, black in pairs:
        if (black, red) in pairs and red > black:
            continue  # the same two the other way round
        if read := safe_read(wiring, condition, red, black):
            yield read, red, black


def safe_read(wiring: Wiring, condition: Condition, red: str, black: str) -> Read | None:
    """Volts where a source hangs on the points, ohms where none does and the capacitor has been
    shown discharged; None where neither makes sense."""
    model = wiring.model
    if model.is_live(condition.id, red) or model.is_live(condition.id, black):
        return "volts" if not model.apart(condition.id, red, black) else None
    if model.never_joined(condition.id, red, black):
        return None
    return None if dead_trouble(wiring, condition, red, black) else "ohms"


def dead_trouble(wiring: Wiring, condition: Condition, red: str, black: str) -> str:
    """Why the ohms or diode range may not go there; "" when it may."""
    machine, model = wiring.machine, wiring.model
    opened = with_needs({s.id: s for s in machine.teardown}, condition.open)
    out = [s for s in machine.teardown if s.role == "source out" and s.id not in opened]
    if condition.energised or out or any(model.is_live(condition.id, n) for n in (red, black)):
        step = f": first {out[0].words.lower()}" if out else ""
        return f"a source is connected in this condition{step}"
    waiting = [s for s in machine.teardown if s.role == "discharge" and s.id not in opened]
    if waiting and any(model.has_capacitor(condition.id, n) for n in (red, black)):
        return f"a capacitor there is not shown discharged: first {waiting[0].words.lower()}"
    return ""


def made_test(machine: Machine, condition: Condition, probing: Probing, id: str = "") -> Test:
    """A test for one pair of points, without its readings."""
    ((red, black),) = probing.pairs
    points = machine.wires.points if machine.wires else {}
    red_words = points[red].words if red in points else red
    black_words = points[black].words if black in points else black
    states = {condition.id, condition.id.partition(JOIN)[0]}  # with more taken off it waits alike
    after = tuple(dict.fromkeys(
        a for t in machine.tests if t.condition in states and condition.energised
        for a in t.after
    ))  # fmt: skip
    what = _SIDES[probing.read]
    return Test(
        id or _id(probing, condition), f"{what} from {red_words} to {black_words}, red on"
        f" {red_words}, black on {black_words}.", f"{what.lower()}, {red_words} to {black_words}",
        probing.read, condition.id, MINUTES[probing.read], Forecast(), {}, red_words, black_words,
        after=after, source=SOURCE, probe=probing, generated=True,
    )  # fmt: skip


def _id(probing: Probing, condition: Condition) -> str:
    ((red, black),) = probing.pairs
    words = [probing.read, *(_slug(n) for n in (red, black)), condition.id]
    return "_".join(words)[:60].rstrip("_")


def _slug(node: str) -> str:
    text = node.replace("+", "_plus").replace("-", "_minus").lower()
    return re.sub(r"[^a-z0-9]+", "_", text).strip("_")


def _settles(row: RowForecast) -> bool:
    """A person waits for no capacitor: the healthy reading is steady."""
    return all(p.kind != "unsteady" for p in row.good.pieces)


class _Judge:
    """Labels faults by what a test shows, and weighs the parting."""

    def __init__(self, machine: Machine) -> None:
        self.machine = machine
        self.faults = [f for f in machine.faults if f.parts and f.weight > 0]
        weights = np.array([f.weight for f in self.faults])
        self.weights = weights / weights.sum()
        sets = {f.parts: n for n, f in enumerate(self.faults)}
        self.cures = tuple(sets[f.parts] for f in self.faults)
        self.steps = {s.id: s for s in machine.teardown}

    def candidate(self, wiring: Wiring, test: Test, row: RowForecast) -> _Candidate:
        return self._candidate(wiring, test, row.good, row.expect)

    def declared(self, wiring: Wiring, test: Test) -> _Candidate:
        return self._candidate(wiring, test, test.good, test.expect)

    def _candidate(
        self, wiring: Wiring, test: Test, good: Forecast, expect: Mapping[str, Forecast]
    ) -> _Candidate:
        doubt = wiring.doubt_at(test, good)
        keys = [_key(expect.get(f.id, good), doubt) for f in self.faults]
        keys.append(_key(good, doubt))
        number = {k: n for n, k in enumerate(dict.fromkeys(keys))}
        *labels, healthy = (number[k] for k in keys)
        condition = wiring.conditions[test.condition]
        opens = with_needs(self.steps, condition.open)
        minutes = test.minutes + sum(
            self.steps[s].minutes + self.steps[s].back_minutes for s in opens)
        shows = tuple(_spans(expect.get(f.id, good), doubt) for f in self.faults)
        return _Candidate(test, minutes, opens, tuple(labels), healthy,
                          (*shows, _spans(good, doubt)), self._bits(tuple(labels)))

    def best(
        self, found: Sequence[_Candidate], declared: Sequence[_Candidate], room: int
    ) -> list[_Candidate]:
        """At most ``room`` of those found. Of any two faults of different cures the cheapest test
        that parts them counts, and of each fault the cheapest that shows it alone, by minutes and
        weight; each time the one is taken that saves the most. What room is left goes to those
        that tell the most for their minutes."""
        cures = np.array([*self.cures, -1])
        weights = np.append(self.weights, HEALTHY)
        a, b = (x for x in np.triu_indices(len(cures), 1))
        two = cures[a] != cures[b]
        a, b = a[two], b[two]
        both, one = np.sqrt(weights[a] * weights[b]), np.sqrt(self.weights)
        size = np.concatenate([both / both.sum(), PROOF * one / one.sum()])

        def cost(c: _Candidate) -> NDArray[np.float64]:
            labels = np.array([*c.labels, c.good])
            alone = [
                not any(cures[j] != cures[i] and _meet(c.shows[i], c.shows[j])
                        for j in range(len(cures)))
                for i in range(len(cures) - 1)
            ]  # fmt: skip
            tells = np.concatenate([labels[a] != labels[b], alone])
            return np.where(tells, c.minutes, UNTOLD)

        spent = np.full(len(size), UNTOLD)
        for c in declared:
            spent = np.minimum(spent, cost(c))
        left, costs = list(found), [cost(c) for c in found]
        chosen: list[_Candidate] = []
        while left and len(chosen) < room:
            saved = [float(size @ np.maximum(spent - c, 0.0)) for c in costs]
            n = int(np.argmax(saved))
            if saved[n] < LEAST_GAIN:
                break
            spent = np.minimum(spent, costs.pop(n))
            chosen.append(left.pop(n))
        rest = [c for c in left if c.bits >= MANY_BITS]
        rest.sort(key=lambda c: (-c.bits / (c.minutes + 1.0), c.test.id))
        return [*chosen, *rest[: room - len(chosen)]]

    def _bits(self, labels: tuple[int, ...]) -> float:
        """Bits about the cure set that the label gives."""
        joint: dict[tuple[int, int], float] = {}
        label_p: dict[int, float] = {}
        cure_p: dict[int, float] = {}
        for cure, label, w in zip(self.cures, labels, self.weights.tolist(), strict=True):
            joint[cure, label] = joint.get((cure, label), 0.0) + w
            label_p[label] = label_p.get(label, 0.0) + w
            cure_p[cure] = cure_p.get(cure, 0.0) + w
        return sum(p * math.log2(p / (cure_p[c] * label_p[b])) for (c, b), p in joint.items())


def _key(forecast: Forecast, doubt: float) -> object:
    """Forecasts closer than two uncertainties of the meter have one key."""
    if forecast.yes is not None:
        return round(forecast.yes * 4)
    found = []
    for p in forecast.pieces:
        if p.share < 0.2:
            continue
        ends = [p.low] if p.kind == "around" else [p.low, p.high]
        scale = max(2 * doubt, 1e-9)
        found.append((p.kind if p.kind in ("over", "unsteady") else "value", round(p.share * 3),
                      *(round(8 * math.asinh(e / scale / 8)) for e in ends)))  # fmt: skip
    return tuple(sorted(found))


def _spans(forecast: Forecast, doubt: float) -> tuple[_Span, ...]:
    """What may be read, the likeliest first, widened by two uncertainties of the meter."""
    if forecast.yes is not None:
        both = (("yes", 0.0, 0.0, forecast.yes), ("no", 0.0, 0.0, 1.0 - forecast.yes))
        return tuple(sorted(both, key=lambda s: -s[3]))
    found: list[_Span] = []
    for p in sorted(forecast.pieces, key=lambda p: -p.share):
        if p.kind in ("over", "unsteady"):
            found.append((p.kind, 0.0, 0.0, p.share))
        else:
            more = 2 * doubt + (2 * p.high if p.kind == "around" else 0.0)
            high = p.low if p.kind == "around" else p.high
            found.append(("value", p.low - more, high + more, p.share))
    return tuple(found)


def _meet(one: tuple[_Span, ...], other: tuple[_Span, ...]) -> bool:
    """Whether the likeliest reading of one may come of the other, too."""
    kind, low, high, _ = one[0]
    return any(k == kind and share > RARE and a <= high and b >= low for k, a, b, share in other)


def _finer(a: Sequence[int], b: Sequence[int]) -> bool:
    """Whether labels `a` part whatever labels `b` part."""
    seen: dict[int, int] = {}
    return all(seen.setdefault(x, y) == y for x, y in zip(a, b, strict=True))


def _pruned(found: Sequence[_Candidate], declared: Sequence[_Candidate]) -> list[_Candidate]:
    """Without those that another one, declared or not, makes needless."""
    kept: list[_Candidate] = []
    order = sorted(found, key=lambda c: (c.minutes, -c.bits, c.test.id))
    for c in order:
        rivals = [*declared, *kept]
        if any(r.minutes <= c.minutes and r.opens <= c.opens and _finer(r.all, c.all)
               for r in rivals):  # fmt: skip
            continue
        kept.append(c)
    return kept
