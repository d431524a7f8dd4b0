"""What a test is expected to show: small mixtures of ranges, values, over range, unsteady, yes.

A :class:`Forecast` says how the *true* quantity is spread over machines of one kind under one
hypothesis, before the meter adds its share. All numbers are in the base unit of the quantity
(V, A, ohm, Hz, rpm, Pa, deg C, F, s, N m); a yes/no test uses only ``yes``.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

PieceKind = Literal["between", "log", "around", "over", "unsteady"]


@dataclass(frozen=True, slots=True)
class Piece:
    """One way the quantity may come out.

    ``between``: anywhere from ``low`` to ``high``; ``log``: the same on a logarithmic scale
    (both > 0); ``around``: normal with mean ``low`` and standard deviation ``high``;
    ``over``: past every range of the meter (an open); ``unsteady``: does not settle.
    ``share`` is the probability of this piece.
    """

    kind: PieceKind
    low: float = 0.0
    high: float = 0.0
    share: float = 1.0


@dataclass(frozen=True, slots=True)
class Forecast:
    """A mixture of pieces (shares sum to 1), or ``yes``: the probability of a yes."""

    pieces: tuple[Piece, ...] = ()
    yes: float | None = None
