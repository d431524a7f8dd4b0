"""A reading that fits no suspect, or far better with another prefix: which slip explains it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from knowngood.isolate.bands import SHOWN_OUT
from knowngood.isolate.belief import Belief, Weighed
from knowngood.isolate.likelihood import anything, mass
from knowngood.isolate.table import Table
from knowngood.measure.reading import Reading
from knowngood.measure.units import DIMENSION_OF, format_value

SUSPICIOUS = 0.5
PREFIXES = (1e3, 1e-3, 1e6)  # mV for V and the other way, k forgotten, M forgotten
POINTS = "the points: check that red and black are where the step says"
TELLING = 20.0  # times as probable as a reading of no meaning


@dataclass(frozen=True, slots=True)
class Slip:
    """``kind``: range, lead, contact, point; ``words``: what to look at, for the person."""

    kind: str
    words: str


def likely_slip(table: Table, belief: Belief, weighed: Weighed) -> Slip | None:
    """The likeliest slip behind a reading that every suspect explains badly; None when it fits.

    Considers a wrong prefix or range (x1000, x10), swapped leads, and no contact, each by the
    probability that the belief without this reading gives to what should have been read. A wrong
    prefix is named, too, when some suspect explains the reading as typed but the other prefix is
    `TELLING` times as probable, unless it was read twice or a good machine reads so.
    """
    row = weighed.row
    doubtful = weighed.extreme_good <= SHOWN_OUT and len(weighed.kept) == 1
    if row.quantity == "yes_no" or not (weighed.slip >= SUSPICIOUS or doubtful):
        return None
    before = _belief_without(belief, weighed)
    shows = table.shows_at(row.circumstance)

    def expected(reading: Reading) -> float:
        each = mass(row.mixture, reading, table.nodes, row.spread).mean(axis=1)
        per = shows * each[row.index] + (1 - shows) * each[row.good]
        return float((before * ~table.other * per).sum())

    def fits(reading: Reading) -> float:
        return expected(reading) / anything(reading)

    reading = weighed.reading
    if weighed.slip < SUSPICIOUS:
        return _prefix(reading, expected)
    if reading.kind == "value" and reading.low is not None:
        tries: list[tuple[float, Slip]] = []
        for factor in PREFIXES:
            moved = _scaled(reading, factor)
            tries.append((fits(moved), _mistyped(moved)))
        for factor, words in ((10.0, "ten times more would fit"), (0.1, "a tenth would fit")):
            slip = Slip("range", f"look at the range or the decimal point: {words}")
            tries.append((fits(_scaled(reading, factor)), slip))
        if reading.low < 0:
            tries.append(
                (fits(_scaled(reading, -1.0)), Slip("lead", "the leads are swapped: red and black"))
            )
        best = max(tries, key=lambda t: t[0])
        if best[0] > TELLING:
            return best[1]
        if abs(reading.low) <= 3 * reading.resolution:
            return Slip("contact", _near_zero(row.quantity))
    if reading.kind == "over":
        return Slip(
            "contact", "a lead may not touch bare metal, or the range is too low: try again"
        )
    return Slip("point", POINTS)


def _near_zero(quantity: str) -> str:
    """A lost contact shows 0 on volts and amps; on ohms it shows OL, and 0 has another reason."""
    if quantity in ("ohms", "diode"):
        return "the leads may touch each other, or the power is on: look, and read once more"
    return "a lead may not touch bare metal: press again and read once more"


def _prefix(reading: Reading, expected: Callable[[Reading], float]) -> Slip | None:
    """The prefix that was meant, when it is far likelier than what was typed. Of a few counts from
    zero no prefix is told: times a thousand they would be as good as any value."""
    if reading.kind != "value" or not reading.low:
        return None
    if abs(reading.low) <= 3 * reading.resolution:
        return None
    moved = max((_scaled(reading, f) for f in PREFIXES), key=expected)
    plain = max(expected(reading), 1e-300)
    return _mistyped(moved) if expected(moved) > TELLING * plain else None


def _mistyped(meant: Reading) -> Slip:
    text = format_value(meant.value, DIMENSION_OF[meant.quantity], 4)  # type: ignore[index]
    return Slip("range", f"look at the unit: did you mean {text}?")


def _scaled(reading: Reading, factor: float) -> Reading:
    assert reading.low is not None
    value = reading.low * factor
    size = abs(factor)
    return replace(
        reading, low=value, high=value, resolution=reading.resolution * size,
        u_random=reading.u_random * size, u_shared=reading.u_shared * size,
    )  # fmt: skip


def _belief_without(belief: Belief, weighed: Weighed) -> np.ndarray:
    """The belief with this reading's likelihood divided out (intermittents taken as shown)."""
    log = np.log(np.maximum(belief.joint, 1e-300)) - weighed.faulty
    log -= log.max()
    p = np.exp(log).sum(axis=1)
    return np.asarray(p / p.sum())
