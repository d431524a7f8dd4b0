"""What a reading proved, in one sentence, with its verdict."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from knowngood.calculate.verdict import Conformity, conformity
from knowngood.diagnosis.views import Judged, Verdict
from knowngood.isolate.advice import Bench
from knowngood.isolate.bands import SHOWN_OUT
from knowngood.isolate.belief import Belief, Item, Weighed
from knowngood.isolate.hypotheses import Hypothesis
from knowngood.isolate.likelihood import extremeness
from knowngood.isolate.slips import SUSPICIOUS, likely_slip
from knowngood.isolate.table import Row
from knowngood.machines.forecast_text import expected_words
from knowngood.machines.machine import Limits, Machine, Test
from knowngood.measure.meter import MeterSheet
from knowngood.measure.reading import Reading
from knowngood.measure.units import DIMENSION_OF, Dimension, Quantity, format_value

FITS_NONE: Final = " fits none of the suspects. Before it counts, "
"""What stands between such a reading and its likeliest slip."""
NEVER_BELOW_ZERO = frozenset({"ohms", "capacitance", "hertz", "rpm", "seconds", "percent"})


def judge_readings(
    machine: Machine, bench: Bench, belief: Belief, items: Sequence[Item] = ()
) -> tuple[Judged, ...]:
    """One judgement for each test read, repeats of one visit together, in the order taken. Its
    words are about the reading taken last, which ``items`` hold, and how the others agree."""
    tests = {t.id: t for t in machine.tests}
    taken = {i.id: i.reading for i in items}
    found = []
    for w in belief.weighed:
        each = tuple(taken[i] for i in w.items if i in taken) or (w.reading,)
        found.append(_judge(machine, bench, belief, tests[w.test], w, each))
    return tuple(found)


def _judge(
    machine: Machine, bench: Bench, belief: Belief, test: Test, weighed: Weighed,
    each: tuple[Reading, ...],
) -> Judged:  # fmt: skip
    row = bench.table.rows[test.id]
    verdict = _verdict_of_all(test, weighed, each)
    slip = likely_slip(bench.table, belief, weighed)
    clears = _cleared(machine, belief.hypotheses, weighed)
    shown = reads(each[-1])
    limits = limits_words(test.limits, test.quantity, bool(test.compare))
    if slip is not None and weighed.slip >= SUSPICIOUS:
        sentence = f"{test.question}: {shown}{FITS_NONE}{_ended(slip.words)}"
    else:
        sentence = _sentence(
            test, _verdict_words(test, verdict, weighed, each[-1], _good_here(
                test, weighed, each[-1], bench.meter, belief)),
            said_of(test, each[-1]) + _thing_itself(test, each[-1]), limits,
            repeats_words(weighed, each), clears, _points_at(machine, belief, weighed),
            cleared=weighed.extreme_good > SHOWN_OUT,
        )  # fmt: skip
        if slip is not None:
            sentence += f" But {_ended(slip.words)}"
    return Judged(
        weighed.items, row.id, test.question, verdict, sentence, shown, limits, clears,
        weighed.slip, slip.words if slip else "", _verdict_of_each(row, test, weighed, each),
    )  # fmt: skip


def _ended(words: str) -> str:
    return words if words.endswith("?") else f"{words}."


def verdict_of(test: Test, reading: Reading, weighed: Weighed) -> Verdict:
    """Good, bad or can't tell: by the limits of the test where it has them (JCGM 106), else by
    whether a healthy machine reads like this. Within the limits and yet such as a good machine
    hardly ever reads is "can't tell"."""
    found = _by_limits(test, reading, weighed)
    if found == "good" and weighed.extreme_good <= SHOWN_OUT:
        return "can't tell"
    return found


def _verdict_of_all(test: Test, weighed: Weighed, each: tuple[Reading, ...]) -> Verdict:
    """Of repeats that agree that of their mean; of answers that of the last; figures that do not
    agree tell nothing while their verdicts differ."""
    if _is_mean(weighed, each):
        return verdict_of(test, weighed.reading, weighed)
    verdicts = [verdict_of(test, r, weighed) for r in each]
    if test.quantity != "yes_no" and len(set(verdicts)) > 1:
        return "can't tell"
    return verdicts[-1]


def _verdict_of_each(
    row: Row, test: Test, weighed: Weighed, each: tuple[Reading, ...]
) -> tuple[Verdict, ...]:
    """What each reading says that stands by itself, whichever of them is likelier a slip. Where
    the test has no limits one of several is good when a healthy machine may read so."""
    if len(each) < 2:
        return tuple(verdict_of(test, r, weighed) for r in each)
    found: list[Verdict] = []
    for r in each:
        healthy = float(extremeness(row.mixture, r, row.spread)[row.good])
        if test.limits is None and test.quantity != "yes_no" and r.kind != "unsteady":
            found.append("good" if healthy > SHOWN_OUT else "bad")
        else:
            found.append(verdict_of(test, r, replace(weighed, reading=r, extreme_good=healthy)))
    return tuple(found)


def _is_mean(weighed: Weighed, each: tuple[Reading, ...]) -> bool:
    """The readings agree within their own doubt and count as one, their mean."""
    whole = len(weighed.kept) == len(weighed.items)
    return len(each) > 1 and whole and weighed.reading not in each


def said_of(test: Test, reading: Reading) -> str:
    """The reading with its doubt; of several that are compared each by its name."""
    each = reading.text.split("; ")
    if not test.compare or reading.kind == "none" or len(each) != len(test.compare):
        return reads(reading)
    named = ", ".join(f"{name} {text}" for name, text in zip(test.compare, each, strict=True))
    apart = f"{reads(reading)} apart" if reading.kind == "value" else reads(reading)
    return f"{named}, {apart}"


def repeats_words(weighed: Weighed, each: tuple[Reading, ...]) -> str:
    """How the last of several readings of one test agrees with those before it; "" of one."""
    if len(each) < 2:
        return ""
    before = f"the one before ({reads(each[-2])})" if len(each) == 2 else (
        f"the {len(each) - 1} before")  # fmt: skip
    if _is_mean(weighed, each):
        return f"; it agrees with {before}, together {reads(weighed.reading)}"
    if len({(r.kind, r.low, r.high) for r in each}) == 1 or _jump_alike(each):
        return f", as {'before' if len(each) == 2 else 'the times before'}"
    if each[-1].kind in ("yes", "no"):
        return f", unlike {before}: it comes and goes, or one of them is a slip"
    return f"; it does not agree with {before}: read once more, withdraw what was a slip"


def _jump_alike(each: tuple[Reading, ...]) -> bool:
    """All jump, and there are values that all of them go through: ends differ from look to look."""
    lows = [-math.inf if r.low is None else r.low for r in each]
    highs = [math.inf if r.high is None else r.high for r in each]
    return all(r.kind == "unsteady" for r in each) and max(lows) <= min(highs)


def _by_limits(test: Test, reading: Reading, weighed: Weighed) -> Verdict:
    if not reading.is_evidence:
        return "no evidence"
    limits = felt(test.limits, test.quantity, bool(test.compare))
    if reading.kind in ("yes", "no"):
        good = test.good.yes if test.good.yes is not None else 0.5
        return "good" if (good >= 0.5) == (reading.kind == "yes") else "bad"
    if reading.kind == "unsteady":
        return "bad"
    if limits is not None:
        if reading.kind == "over":
            return "good" if limits.high is None else "bad"
        if reading.kind == "value" and reading.low is not None:
            return value_by_limits(test, reading) or "can't tell"
        if reading.low is not None and reading.high is not None:
            above = limits.low is None or reading.low >= limits.low
            below = limits.high is None or reading.high <= limits.high
            outside = (limits.low is not None and reading.high < limits.low) or (
                limits.high is not None and reading.low > limits.high
            )
            return "good" if above and below else "bad" if outside else "can't tell"
    ratio = np.exp(float(weighed.faulty.max()) - float(weighed.healthy.max()))
    return "bad" if ratio > 20 else "good" if ratio < 3 else "can't tell"


def value_by_limits(test: Test, reading: Reading) -> Verdict | None:
    """What the limits of the test make of a value; None where it has none."""
    held = held_to_limits(test, reading)
    return held.verdict if held else None


def held_to_limits(test: Test, reading: Reading) -> Conformity | None:
    """A value against the limits of the test, with guard band and risks (JCGM 106); None where it
    has no limits or is no single value."""
    limits = felt(test.limits, test.quantity, bool(test.compare))
    if limits is None or reading.low is None:
        return None
    return _held_to(limits, reading.low + _taken_off(test, reading), reading)


def reads(reading: Reading) -> str:
    """The reading with its uncertainty (two standard uncertainties), as a person writes it."""
    if reading.kind in ("yes", "no"):
        return reading.kind
    if reading.kind == "over":
        return "OL"
    dimension = DIMENSION_OF[_quantity(reading)]
    if reading.kind == "unsteady":
        if reading.low is None:
            return "unsteady"
        if reading.high is None:
            return f"jumps {format_value(reading.low, dimension)} to OL"
        low, high = format_value(reading.low, dimension), format_value(reading.high, dimension)
        return f"jumps {low} to {high}"
    if reading.kind == "interval" and reading.low is not None and reading.high is not None:
        low, high = format_value(reading.low, dimension), format_value(reading.high, dimension)
        return f"{low} to {high}"
    if reading.kind == "value" and reading.low is not None:
        return _plus_minus(reading.low, 2 * reading.u, dimension)
    return "no evidence"


def _plus_minus(value: float, spread: float, dimension: Dimension) -> str:
    """ "57.9 V ± 0.37 V": both in the unit of the value, unless that is 0."""
    text = format_value(value, dimension)
    number, _, unit = text.partition(" ")
    if not value or not unit or not float(number):
        return f"{text} ± {format_value(_rounded(spread), dimension)}"
    return f"{text} ± {_rounded(spread * abs(float(number) / value)):g} {unit}"


def _quantity(reading: Reading) -> Quantity:
    return reading.quantity  # type: ignore[return-value]


def _rounded(u: float) -> float:
    """Two significant digits."""
    return float(f"{u:.2g}")


def felt(limits: Limits | None, quantity: Quantity, spread: bool = False) -> Limits | None:
    """The limits that can be broken: ohms and the like, and a spread, are never below zero."""
    if limits is None or limits.low is None or limits.low > 0:
        return limits
    if quantity not in NEVER_BELOW_ZERO and not spread:
        return limits
    return Limits(None, limits.high, limits.source) if limits.high is not None else limits


def limits_words(
    limits: Limits | None, quantity: Quantity, spread: bool = False, sourced: bool = True
) -> str:
    """The limits as text: "54 V to 58.8 V (common practice)"; not ``sourced``: without that."""
    limits = felt(limits, quantity, spread)
    if limits is None:
        return ""
    dimension = DIMENSION_OF[quantity]
    low = None if limits.low is None else format_value(limits.low, dimension)
    high = None if limits.high is None else format_value(limits.high, dimension)
    if low is None and high is None:
        return ""
    between = f"at most {high}" if low is None else f"at least {low}" if high is None else ""
    return f"{between or f'{low} to {high}'}{f' ({limits.source})' if sourced else ''}"


def _cleared(
    machine: Machine, hypotheses: tuple[Hypothesis, ...], weighed: Weighed
) -> tuple[str, ...]:
    """Parts all of whose single faults this reading alone shows out; none when it is neither such
    as a good machine gives nor explained by any fault."""
    kinds = {h.kind for i, h in enumerate(hypotheses) if weighed.extreme[i] > SHOWN_OUT}
    if weighed.extreme_good <= SHOWN_OUT and not kinds & {"primary", "double"}:
        return ()
    single = [(i, h.parts) for i, h in enumerate(hypotheses) if h.kind == "primary"]
    left = {p for i, parts in single if weighed.extreme[i] > SHOWN_OUT for p in parts}
    suspects = {p for _, parts in single for p in parts}
    return tuple(p.words for p in machine.parts if p.id in suspects - left)


def _points_at(machine: Machine, belief: Belief, weighed: Weighed) -> str:
    """The one part whose faults alone explain the reading, whatever it was taken along by, in
    words; "" when there are several."""
    words = {p.id: p.words for p in machine.parts}
    left: set[frozenset[str]] = set()
    for i, h in enumerate(belief.hypotheses):
        if h.kind == "primary" and weighed.extreme[i] > SHOWN_OUT:
            left.add(h.parts)
    common = frozenset[str]().union(*left).intersection(*left)
    if common not in left:
        return ""
    return " and ".join(words[p] for p in sorted(common) if p in words)


SHOWN_HERE = "known-good reading"  # in the source of limits that come from readings taken here


def _taken_off(test: Test, reading: Reading) -> float:
    """What is added before the limits, which are those of the thing itself; limits from readings
    taken here are of what such meters showed."""
    as_shown = test.compare or bool(test.limits and SHOWN_HERE in test.limits.source)
    return 0.0 if as_shown else reading.correction


def _held_to(limits: Limits, value: float, reading: Reading) -> Conformity:
    return conformity(value, max(reading.u, 1e-12), limits.low, limits.high)


def _thing_itself(test: Test, reading: Reading) -> str:
    """What is left of it without the leads and the like, where that changes what it is worth."""
    limits = felt(test.limits, test.quantity, bool(test.compare))
    off = _taken_off(test, reading)
    if limits is None or not off or reading.kind != "value" or reading.low is None:
        return ""
    as_read = _held_to(limits, reading.low, reading)
    if as_read.verdict == _held_to(limits, reading.low + off, reading).verdict:
        return ""
    by = "without the leads" if test.quantity == "ohms" else "corrected"
    return f" ({format_value(reading.low + off, DIMENSION_OF[_quantity(reading)], 2)} {by})"


def _good_here(
    test: Test, weighed: Weighed, reading: Reading, meter: MeterSheet | None, belief: Belief
) -> str:
    """What a good machine reads; or that only readings of the same source speak against this."""
    others = [f"{w.words} at {reads(w.reading).partition(' ±')[0]}" for w in belief.weighed
              if w.test in weighed.leans and w.group[0] == weighed.group[0]]  # fmt: skip
    row = weighed.row
    if others and extremeness(row.mixture, reading, row.spread)[row.good] > SHOWN_OUT:
        return f"with {' and '.join(others)} a good machine hardly reads so"
    return f"a good machine reads {expected_words(test.good, test.quantity, meter)} here"


def _verdict_words(
    test: Test, verdict: Verdict, weighed: Weighed, reading: Reading, reads_here: str
) -> str:
    """``reads_here``: of a good machine. Where the limits are wider than that, both are said: the
    suspects are weighed by the narrower."""
    by_limits = _by_limits(test, reading, weighed)
    odd = weighed.extreme_good <= SHOWN_OUT and reading.kind == "value" and not test.compare
    if verdict == "can't tell" and by_limits == "good":
        return f". Within its limits, yet {reads_here if odd else 'hardly as a good machine reads'}"
    if verdict == by_limits == "can't tell" and odd:
        return f". Too close to tell by the limit, but {reads_here}"
    words = {"good": ". Good", "bad": ". Not good", "can't tell": ". Too close to tell"}
    balance = {"good": ": in balance", "bad": ": out of balance"} if test.compare else {}
    return words.get(verdict, "") + balance.get(verdict, "")


def _sentence(
    test: Test,
    verdict_words: str,
    shown: str,
    limits: str,
    repeats: str,
    clears: tuple[str, ...],
    points: str,
    cleared: bool,
) -> str:
    """``cleared``: a good machine may read so, else the parts are out as what cannot make it so."""
    against = f", good is {limits}" if limits else ""
    text = f"{test.question}: {shown}{against}{repeats}"
    text += verdict_words
    close = "close to tell" in verdict_words
    if close and test.quantity == "ohms" and not (repeats or test.compare):
        text += " (short the leads together, take that off or zero the meter, and read again)"
    if points:
        return f"{text}: of the parts listed only {points} explains it."
    if not clears:
        return f"{text}."
    if "Not good" in verdict_words or not cleared:
        return f"{text}. {_some(clears)} cannot make it so."
    return f"{text}. Cleared: {_some(clears)}."


def _some(words: tuple[str, ...]) -> str:
    """Up to four by name, more by their number."""
    return ", ".join(words) if len(words) <= 4 else f"{len(words)} parts"


SHORT = 44  # letters of a caution in short


def in_short(cautions: Sequence[str]) -> str:
    """The first words of each caution, for a screen with little room: "Volts first; pack out of
    reach". The whole text stays one tap away."""
    firsts = (re.split(r"[.;]| - ", c, maxsplit=1)[0].strip() for c in cautions)
    each = (f.split(",")[0] if len(f) > SHORT else f for f in firsts)
    short = list({s.casefold(): s for s in each}.values())
    said = "; ".join(s if n == 0 else s[:1].lower() + s[1:] for n, s in enumerate(short))
    return said[:1].upper() + said[1:]
