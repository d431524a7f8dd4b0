"""What a test is expected to show: small mixtures of ranges, values, over range, unsteady, yes.

A :class:`Forecast` says how the *true* quantity is spread over machines of one kind under one
hypothesis, before the meter adds its share. All numbers are in the base unit of the quantity
(V, A, ohm, Hz, rpm, Pa, deg C, F, s, N m); a yes/no test uses only ``yes``.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal, NamedTuple

PieceKind = Literal["between", "log", "around", "over", "unsteady"]


class Held(NamedTuple):
    """A piece while the machine's source stands in the middle of its span: from ``low`` to
    ``high``, and all of it ``moves`` (relative) as the source goes from one end to the other."""

    low: float
    high: float
    moves: float


@dataclass(frozen=True, slots=True)
class Piece:
    """One way the quantity may come out.

    ``between``: anywhere from ``low`` to ``high``; ``log``: the same on a logarithmic scale
    (both > 0); ``around``: normal with mean ``low`` and standard deviation ``high``;
    ``over``: past every range of the meter (an open); ``unsteady``: does not settle.
    ``share`` is the probability of this piece. ``held``: what is left of its range for a reading
    whose source is known; the range itself holds the span of the source, too.
    """

    kind: PieceKind
    low: float = 0.0
    high: float = 0.0
    share: float = 1.0
    held: Held | None = None


@dataclass(frozen=True, slots=True)
class Forecast:
    """A mixture of pieces (shares sum to 1), or ``yes``: the probability of a yes."""

    pieces: tuple[Piece, ...] = ()
    yes: float | None = None


def unheld(forecast: Forecast) -> Forecast:
    """The same as ranges alone, which know nothing of a source."""
    if all(p.held is None for p in forecast.pieces):
        return forecast
    return replace(forecast, pieces=tuple(replace(p, held=None) for p in forecast.pieces))
