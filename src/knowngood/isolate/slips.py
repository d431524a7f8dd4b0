"""A reading that fits no suspect: which slip would explain it."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from knowngood.isolate.belief import Belief, Weighed
from knowngood.isolate.likelihood import anything, mass
from knowngood.isolate.table import Table
from knowngood.measure.reading import Reading

SUSPICIOUS = 0.5
TELLING = 20.0  # times as probable as a reading of no meaning


@dataclass(frozen=True, slots=True)
class Slip:
    """``kind``: range, lead, contact, point; ``words``: what to look at, for the person."""

    kind: str
    words: str


def likely_slip(table: Table, belief: Belief, weighed: Weighed) -> Slip | None:
    """The likeliest slip behind a reading that every suspect explains badly; None when it fits.

    Considers a wrong prefix or range (x1000, x10), swapped leads, and no contact, each by the
    probability that the belief without this reading gives to what should have been read.
    """
    if weighed.slip < SUSPICIOUS:
        return None
    row = table.rows[weighed.test]
    if row.quantity == "yes_no":
        return None
    before = _belief_without(belief, weighed)
    shows = table.shows_at(row.circumstance)

    def fits(reading: Reading) -> float:
        each = mass(row.mixture, reading, table.nodes, row.spread).mean(axis=1)
        per = shows * each[row.index] + (1 - shows) * each[row.good]
        return float((before * ~table.other * per).sum()) / anything(reading)

    reading = weighed.reading
    if reading.kind == "value" and reading.low is not None:
        tries: list[tuple[float, Slip]] = []
        for factor, words in (
            (1e3, "the unit: as typed it is 1000 times too small"),
            (1e-3, "the unit: as typed it is 1000 times too large"),
            (10.0, "the range or the decimal point: ten times more would fit"),
            (0.1, "the range or the decimal point: a tenth of it would fit"),
        ):
            moved = _scaled(reading, factor)
            tries.append((fits(moved), Slip("range", f"look at {words}")))
        if reading.low < 0:
            tries.append(
                (fits(_scaled(reading, -1.0)), Slip("lead", "the leads are swapped: red and black"))
            )
        best = max(tries, key=lambda t: t[0])
        if best[0] > TELLING:
            return best[1]
        if abs(reading.low) <= 3 * reading.resolution:
            return Slip(
                "contact", "a lead may not touch bare metal: press again and read once more"
            )
    if reading.kind == "over":
        return Slip(
            "contact", "a lead may not touch bare metal, or the range is too low: try again"
        )
    return Slip("point", "the points: check that red and black are where the step says")


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
