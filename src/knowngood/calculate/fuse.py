"""Fuses: how long at what multiple of the rating, and what that says about what blew it.

Bands are limits for a new fuse at about 25 degC. Between two rows only what surely holds is given:
more current never takes longer, so the shortest time is that of the next row up and the longest
that of the next row down. A hot fuse box opens sooner, and so does one that was pulsed for years.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Literal

Kind = Literal["blade", "ul", "time-lag"]


@dataclass(frozen=True, slots=True)
class Band:
    """At `multiple` of the rating it opens within `shortest` to `longest` seconds (inf: may hold,
    0: no least time promised)."""

    multiple: float
    shortest: float
    longest: float


BANDS: Final[dict[Kind, tuple[Band, ...]]] = {
    "blade": (
        Band(1.35, 0.75, 600.0),
        Band(1.6, 0.25, 50.0),
        Band(2.0, 0.15, 5.0),
        Band(3.5, 0.08, 0.5),
        Band(6.0, 0.0, 0.15),
    ),
    "ul": (Band(1.0, math.inf, math.inf), Band(1.35, 0.0, 3600.0), Band(2.0, 0.0, 120.0)),
    "time-lag": (
        Band(1.5, 3600.0, math.inf),
        Band(2.1, 0.0, 120.0),
        Band(2.75, 0.4, 10.0),
        Band(4.0, 0.15, 3.0),
    ),
}
"""blade: plastic blade fuse, a fuse maker's published limits. ul: UL 248-14 (up to 30 A), as
published by fuse makers; it sets no least time above the rating. time-lag: IEC 60127 miniature
cartridge, as published by fuse makers; marked T."""

SOURCE: Final[dict[Kind, str]] = {
    "blade": "a fuse maker's published limits for plastic blade fuses",
    "ul": "UL 248-14, as published by fuse makers",
    "time-lag": "IEC 60127 time-lag, as published by fuse makers",
}


def opening(multiple: float, kind: Kind = "blade") -> tuple[float, float]:
    """(shortest, longest) seconds to open at `multiple` x rating; inf where it may hold for ever,
    0 where no least time is promised. Up to its rating a sound fuse holds.

    Raises ValueError for a multiple outside 0 to 100 or an unknown kind. Source: `SOURCE`.
    """
    rows = _rows(kind)
    if not 0 <= multiple <= 100:
        raise ValueError(f"{multiple:g} times the rating is outside 0 to 100")
    if multiple <= 1:
        return math.inf, math.inf
    shortest = max([0.0, *(b.shortest for b in rows if b.multiple >= multiple)])
    longest = min([math.inf, *(b.longest for b in rows if b.multiple <= multiple)])
    return shortest, longest


def multiples(seconds: float, kind: Kind = "blade") -> tuple[float, float]:
    """(least, most) multiple of the rating that can open a sound fuse after `seconds`; most is inf
    where any current would do, and least never under 1, for a sound fuse holds its rating.

    Raises ValueError for a time not above zero, or an unknown kind. Source: `SOURCE`.
    """
    rows = _rows(kind)
    if not 0 < seconds < math.inf:
        raise ValueError(f"{seconds:g} s: the time must be above zero")
    least = max([1.0, *(b.multiple for b in rows if b.shortest > seconds)])
    most = min([math.inf, *(b.multiple for b in rows if b.longest < seconds)])
    return least, most


@dataclass(frozen=True, slots=True)
class Blown:
    """What opened a fuse: the amps it took between `least` and `most` (inf: no upper end), and
    where to look."""

    least_amps: float
    most_amps: float
    look: str


def what_blew(rating: float, seconds: float, kind: Kind = "blade") -> Blown:
    """What current, and so what kind of fault, opens a fuse of `rating` A after `seconds` with the
    machine switched on. A new fuse that blows is a reading: one is enough, find the cause first.

    Raises ValueError for a rating not above zero, otherwise as `multiples`.
    Source: `SOURCE`; where to look is common practice.
    """
    if not 0 < rating < math.inf:
        raise ValueError(f"{rating:g} A: the rating must be above zero; it is printed on the fuse")
    least, most = multiples(seconds, kind)
    return Blown(rating * least, rating * most, where_to_look(least, most))


def where_to_look(least: float, most: float) -> str:
    """Where to look for what drew between `least` and `most` times the rating (common practice)."""
    if most <= 2.0:
        return (
            "an overload, not a short: jammed or dragging load, blocked cooling, a fuse one size"
            " down, or a loose hot clip; compare the current with the rating"
        )
    if least >= 3.5:
        return (
            "a short: pinched or chafed lead, shorted transistor or capacitor; input ohms and the"
            " diode test before any new fuse"
        )
    return (
        "a short or a hard overload: this time allows both; input ohms first, then turn the load"
        " by hand with the pack out"
    )


def multiple_of(amps: float, rating: float) -> float:
    """Multiple of the rating. Raises ValueError for amps below zero or a rating not above zero."""
    if not 0 < rating < math.inf or not 0 <= amps < math.inf:
        raise ValueError(f"{amps:g} A on a {rating:g} A fuse: amps of zero or more, rating above")
    return amps / rating


def _rows(kind: Kind) -> tuple[Band, ...]:
    if kind not in BANDS:
        raise ValueError(f"fuse kind {kind!r}: blade, ul or time-lag")
    return BANDS[kind]
