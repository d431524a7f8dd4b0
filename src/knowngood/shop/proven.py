"""Whether what was read at a proof of the rebuild proves it: good by its own limit, not by a tap.

The limits are those of the machine's file. A proof with no reading, or one that no number can be
taken from, is not proven; common practice.
"""

from __future__ import annotations

import re
from typing import Final

from knowngood.machines.machine import Test
from knowngood.measure.reading import Reading
from knowngood.measure.spoken import digits_from_words
from knowngood.measure.typed import read_text
from knowngood.measure.unit_table import Quantity

_BELOW: Final = re.compile(r"\bbelow ([0-9]+(?:\.[0-9]+)?) V\b")
_OVER: Final = re.compile(r"OL\b")
_OHMS: Final = re.compile(
    r"\bOL\b|\bopen\b|[0-9]+(?:[.,][0-9]+)?(?= *(?:to|-|\.\.) *[0-9.,]+ *[kM]?(?:ohms?|Ω))"
    r"|[0-9]+(?:[.,][0-9]+)? *[kM]?(?:ohms?|Ω)", re.I)  # fmt: skip
EMPTY_BELOW: Final = 1.0
"""Volts below which a capacitor counts as empty where its step names no limit; common practice."""
OPEN_ABOVE: Final = 1e6
"""Ohms from which a number in place of OL is an open line as well; common practice."""


def not_proven(test: Test, text: str) -> str:
    """Why the text does not prove this dead test good, in words; "" when it does.

    A yes or no is proven by the person's word, unless the text says the other answer."""
    text = text.strip()
    if test.quantity == "yes_no":
        said = read_text(text, "yes_no", None).kind if text else "none"
        other = "no" if (test.good.yes or 0.0) >= 0.5 else "yes"
        return f"{text} is not {test.good_reads or 'good'}" if said == other else ""
    reading = _read(text, test.quantity)
    if isinstance(reading, str):
        return reading
    good = test.good_reads or "good"
    low, high = (test.limits.low, test.limits.high) if test.limits else (None, None)
    if test.limits is None and _OVER.match(test.good_reads):
        low = OPEN_ABOVE
    return "" if _inside(reading, low, high) else f"{text} is not {_short(good)}"


def not_worked(text: str) -> str:
    """Why the text does not show that controls open and close, "" when it does: it needs two
    readings in ohms that differ, one worked and one released, or the two ends of a sweep."""
    if not text.strip():
        return "nothing was read yet"
    found = {m[0].casefold().replace(" ", "") for m in _OHMS.finditer(digits_from_words(text))}
    return "" if len(found) > 1 else (
        f"{text.strip()!r} is not two readings: one worked and one released, such as "
        "0.4 ohm, OL released"
    )


def not_empty(words: str, text: str) -> str:
    """Why the text does not show a capacitor empty, "" when it does. ``words``: of its step, which
    name the limit ("below 5 V")."""
    reading = _read(text.strip(), "volts")
    if isinstance(reading, str):
        return reading
    limit = empty_below(words)
    most = max(abs(v) for v in (reading.low, reading.high) if v is not None)
    over = reading.high is None or most >= limit
    return f"{text.strip()} is not below {limit:g} V" if over else ""


def empty_below(words: str) -> float:
    """Volts below which the step of these words calls the capacitor empty."""
    found = _BELOW.search(words)
    return float(found[1]) if found else EMPTY_BELOW


def _read(text: str, quantity: Quantity) -> Reading | str:
    """A reading with a number in it, or what is missing."""
    if not text:
        return "nothing was read yet"
    reading = read_text(text, quantity, None)
    if reading.kind in ("value", "over", "interval") and reading.low is not None:
        return reading
    return f"{text!r} is no reading: {reading.note}" if reading.note else f"{text!r} is no reading"


def _inside(reading: Reading, low: float | None, high: float | None) -> bool:
    if reading.low is None:
        return False
    if high is not None and (reading.high is None or reading.high > high):
        return False
    return low is None or reading.low >= low


def _short(good: str) -> str:
    """Of "OL; low means no new fuse yet" what is read."""
    return re.split(r"[;,]| - ", good)[0].strip()
