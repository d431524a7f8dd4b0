"""From known-good readings to what the next good machine reads, and the limits that follow.

What was expected before is the machine file's own good reading, worth one reading for its middle
and three for its spread (`spread`). Readings of other models of the same file come next: what they
predict takes the place of the file's expectation, at the same worth. Then the readings of the model
itself. A reading that would come about once in a thousand is set aside until somebody has answered.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.optimize import brentq

from knowngood.calculate.tolerance import (
    CONFIDENCE,
    SHARE,
    Prior,
    two_sided_factor,
)
from knowngood.isolate.forecast import Forecast, Piece
from knowngood.isolate.likelihood import Mixture
from knowngood.learn.good import GoodReading, by_test
from knowngood.learn.spread import Ahead, Seen, ahead, prior_from
from knowngood.machines.machine import Limits, Machine, Test

FEWEST: Final = 3
"""So many known-good readings of a test are used; fewer are only shown."""
MOST: Final = 60
"""Of more than so many the latest."""
JUDGED: Final = 0.99
"""Limits hold the next good machine with this probability."""
ONCE_IN: Final = 1000.0
NUMERIC: Final = 0.9
NEVER_BELOW_ZERO: Final = frozenset(
    {"ohms", "capacitance", "hertz", "rpm", "seconds", "percent"}
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Asked:
    """A reading that stands out: `once_in` so many good machines would read as far off."""

    reading: GoodReading
    once_in: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Toleranced:
    """Limits that hold `share` of good machines with `confidence` (ISO 16269-6, two-sided), from
    `n` readings: mean +- (k s + twice what the meters have in common)."""

    low: float
    high: float
    mean: float
    s: float
    k: float
    common: float
    n: int
    share: float = SHARE
    confidence: float = CONFIDENCE


@dataclass(frozen=True, slots=True)
class TestLesson:
    """What is known of one test of one model. Numbers in base units.

    `own`: readings of this model that count, `others`: of other models of the file; `apart`: those
    that were answered as wrong or of a machine that differs; `asked`: set aside until answered.
    `next`: where the true value of the next good machine falls; None when there are too few.
    `limits`: what judges a reading, the file's or the shop's; `by` whose: maker, shop, practice, ""
    (none). `why_not`: why this test is not learned.
    """

    __test__ = False

    test: str
    own: tuple[GoodReading, ...]
    others: tuple[GoodReading, ...]
    apart: tuple[GoodReading, ...]
    asked: tuple[Asked, ...]
    next: Ahead | None
    limits: Limits | None
    by: str
    tolerance: Toleranced | None
    expected: tuple[float, float] | None
    why_not: str = ""
    model: str = ""

    @property
    def words(self) -> str:
        """ "7 known-good readings of this model"."""
        return count_words(len(self.own), len(self.others), self.model)


def count_words(own: int, others: int, model: str = "") -> str:
    """What the limits come from, in words. `model`: "" when none is named."""
    if not model:
        return f"{_readings(own)} here"
    if own >= FEWEST or not others:
        return f"{_readings(own)} of this model" + (f", {others} of others" if others else "")
    return f"{_readings(own + others)} of this family"


def _readings(count: int) -> str:
    return f"{count} known-good reading{'' if count == 1 else 's'}"


def set_by(limits: Limits | None) -> str:
    """Whose limits these are: "practice" when the file marks them as common practice or invented,
    or names no source; else "maker" (the maker's sheet, a standard, arithmetic); "" for none."""
    if limits is None:
        return ""
    source = limits.source.strip().casefold()
    loose = not source or source.startswith(("common practice", "invented"))
    return "practice" if loose else "maker"


def not_learned(test: Test) -> str:
    """Why readings of this test teach no limits; "" when they do."""
    if test.quantity == "yes_no":
        return "a yes or no has no limits"
    if test.compare:
        return "several readings are compared: their differences are not spread like one reading"
    numeric = [p for p in test.good.pieces if p.kind not in ("over", "unsteady")]
    if sum(p.share for p in numeric) < NUMERIC:
        return "a good machine gives no figure here"
    if any(p.kind == "log" and p.high > 4 * p.low for p in numeric):
        return "good readings are spread over decades"
    return ""


def expected_interval(good: Forecast, share: float = SHARE) -> tuple[float, float]:
    """The middle `share` of what the file expects of a good machine, figures alone."""
    pieces = tuple(p for p in good.pieces if p.kind not in ("over", "unsteady"))
    whole = sum(p.share for p in pieces)
    mixture = Mixture([Forecast(tuple(Piece(p.kind, p.low, p.high, p.share / whole)
                                      for p in pieces))])  # fmt: skip
    far = [p.low - 8 * p.high if p.kind == "around" else p.low for p in pieces]
    up = [p.low + 8 * p.high if p.kind == "around" else p.high for p in pieces]
    low, high = min(far), max(up)
    least = max(1e-9, 1e-3 * max(abs(low), abs(high)))
    if high - low < least:
        return (low + high - least) / 2, (low + high + least) / 2

    def at(p: float) -> float:
        def off(x: float) -> float:
            one = np.array([x])
            return float(mixture.cdf(one, np.zeros(1), np.ones(1))[0, 0]) - p

        pad = 1e-6 * (high - low)
        return float(brentq(off, low - pad, high + pad, xtol=1e-9 * (high - low)))

    ends = at((1 - share) / 2), at((1 + share) / 2)
    return ends if ends[1] - ends[0] >= least else (ends[0] - least / 2, ends[1] + least / 2)


def lesson(
    test: Test, readings: Sequence[GoodReading], model: str = "", spread: float = 0.0
) -> TestLesson:
    """What these known-good readings of a test teach about this model ("" for no model named: all
    count as its own). `spread`: relative standard deviation of the quantity that the test follows,
    which moves each machine for itself."""
    why = not_learned(test)
    readings = [r for r in readings if r.test == test.id][-MOST:]
    if why:
        return TestLesson(test.id, (), (), tuple(readings), (), None, test.limits,
                          set_by(test.limits), None, None, why, model)  # fmt: skip
    expected = expected_interval(test.good)
    prior = prior_from(*expected)
    follow = spread * abs(prior.mean)
    good = [r for r in readings if r.standing in ("", "keep")]
    apart = tuple(r for r in readings if r.standing not in ("", "keep"))
    counting: list[GoodReading] = []
    asked: tuple[Asked, ...] = ()
    for group in dict.fromkeys(r.model for r in good):  # each among those of its own model
        left, stand_out = _sorted_out(prior, [r for r in good if r.model == group], follow)
        counting += left
        asked += stand_out
    own = tuple(r for r in counting if not model or r.model == model)
    others = tuple(r for r in counting if model and r.model != model)
    if len(others) >= FEWEST:
        prior = prior_from(*_next(prior, others, follow).interval(SHARE))
    if len(own) + len(others) < FEWEST:
        return TestLesson(test.id, own, others, apart, asked, None, test.limits,
                          set_by(test.limits), None, expected, "", model)  # fmt: skip
    found = _next(prior, own, follow)
    limits, by = test.limits, set_by(test.limits)
    if by != "maker":
        shown = ahead(prior, [_seen(r, follow) for r in own], Seen(0.0, own=follow))
        source = f"from {count_words(len(own), len(others), model)}"
        limits, by = _sided(test, shown.interval(JUDGED), source), "shop"
    return TestLesson(test.id, own, others, apart, asked, found, limits, by,
                      toleranced(own if len(own) >= FEWEST else (*own, *others)),
                      expected, "", model)  # fmt: skip


def lessons_of(
    machine: Machine, readings: Iterable[GoodReading], model: str = ""
) -> Mapping[str, TestLesson]:
    """The lesson of every test that has a known-good reading, by test."""
    spreads = {n.id: n.spread for n in machine.nuisances}
    each = by_test(readings)
    return {
        t.id: lesson(t, each[t.id], model, spreads.get(t.follows or "", 0.0))
        for t in machine.tests
        if t.id in each
    }


def toleranced(readings: Sequence[GoodReading]) -> Toleranced | None:
    """The two-sided tolerance limits of these readings; None for fewer than two.

    The errors of each reading are in s as they are, which makes the limits wider than the machines
    alone would; what all readings on a meter have in common is not, and is added twice.
    """
    if len(readings) < 2:
        return None
    values = np.array([r.value for r in readings])
    mean, s, k = float(values.mean()), float(values.std(ddof=1)), two_sided_factor(len(values))
    by_meter: dict[str, float] = {}
    for r in readings:
        by_meter[_meter(r)] = by_meter.get(_meter(r), 0.0) + r.reading.u_shared / len(values)
    common = math.sqrt(sum(u * u for u in by_meter.values()))
    reach = k * s + 2 * common
    return Toleranced(mean - reach, mean + reach, mean, s, k, common, len(values))


def _next(prior: Prior, readings: Sequence[GoodReading], follow: float) -> Ahead:
    return ahead(prior, [_seen(r, follow) for r in readings])


def _seen(reading: GoodReading, follow: float) -> Seen:
    it = reading.reading
    return Seen(reading.value, it.u_random, it.u_shared, _meter(reading), follow)


def _meter(reading: GoodReading) -> str:
    return f"{reading.reading.meter or ''} {reading.reading.range_name or ''}"


def _sorted_out(
    prior: Prior, readings: Sequence[GoodReading], follow: float
) -> tuple[tuple[GoodReading, ...], tuple[Asked, ...]]:
    """(those that count, those to ask about). The farthest off is judged by all the others, set
    aside if it would come less than once in a thousand, then the next; those kept before stay."""
    left = list(readings)
    asked: list[Asked] = []
    most = max(1, len(left) // 5)
    while left and len(asked) < most:
        worst, farthest = -1, 1.0
        for i, one in enumerate(left):
            if one.standing:
                continue
            p = _chance(prior, left[:i] + left[i + 1 :], one, follow).beyond(one.value)
            if p < farthest:
                worst, farthest = i, p
        if worst < 0 or farthest * ONCE_IN > 1:
            break
        one = left.pop(worst)
        low, high = _chance(prior, left, one, follow).interval(1 - 1 / ONCE_IN)
        asked.append(Asked(one, 1 / max(farthest, 1e-12), low, high))
    return tuple(left), tuple(asked)


def _chance(
    prior: Prior, others: Sequence[GoodReading], one: GoodReading, follow: float
) -> Ahead:
    return ahead(prior, [_seen(r, follow) for r in others], _seen(one, follow))


def rounded(low: float, high: float) -> tuple[float, float]:
    """The interval let out to two digits of its width."""
    if not high > low:
        return low, high
    place = 1 - math.floor(math.log10(high - low))
    step = 10.0**-place
    return (round(math.floor(low / step + 1e-9) * step, place),
            round(math.ceil(high / step - 1e-9) * step, place))  # fmt: skip


def _sided(test: Test, interval: tuple[float, float], source: str) -> Limits:
    """Two limits, or the one that the file has; ohms and the like are never below zero."""
    low: float | None
    high: float | None
    low, high = rounded(*interval)
    if test.limits is not None:
        if test.limits.low is None or (test.limits.low <= 0 and test.quantity in NEVER_BELOW_ZERO):
            low = None
        high = None if test.limits.high is None else high
    if low is not None and low <= 0 and test.quantity in NEVER_BELOW_ZERO and high is not None:
        low = None
    return Limits(low, high, source)
