"""How probable a reading is under a forecast, how extreme, and what a slip would show.

A reading is a whole number of display counts, so its likelihood is a probability: the mass that
the forecast, blurred by the meter, puts on that count. Values, over range, "about 40", "jumps"
and yes/no then share one scale and may be multiplied.

Each piece becomes boxes blurred by a normal distribution. With box ``[a, b]`` and standard
deviation ``s`` the distribution function at ``x`` is
``s/(b-a) * (g((x-a)/s) - g((x-b)/s))`` with ``g(z) = z*Phi(z) + phi(z)`` (the integral of Phi).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from knowngood.isolate.forecast import Forecast, Piece
from knowngood.measure.reading import Reading

Array = NDArray[np.float64]
Source = tuple[Array, Array, Array, Array]
"""Level, cell, beyond and around of each node, see `Node`."""

WANDERS = 0.0015  # of its volts, standard deviation of a source from one reading to the next;
# common practice
LOG_BOXES = 12  # a logarithmic piece as so many boxes of equal share
SLIP_UNSTEADY = 0.10
SLIP_SHOWS = {  # (0, OL) of all slips: a lost contact reads OL on ohms, 0 on volts; common practice
    "ohms": (0.10, 0.30),
    "diode": (0.10, 0.30),
    "capacitance": (0.25, 0.20),
    "volts": (0.35, 0.10),
    "ac_volts": (0.35, 0.10),
    "amps": (0.35, 0.10),
    "hertz": (0.35, 0.10),
}
SLIP_ELSE = (0.20, 0.25)  # a slip may show any value as well, log-uniform
NO_CONTACT = 35.0  # "0" of a lost contact: within so many times the smallest value of zero
REACH = {  # smallest and largest value that a slip may show, base units
    "volts": (1e-3, 1e3),
    "ac_volts": (1e-3, 1e3),
    "ohms": (1e-2, 1e8),
    "amps": (1e-4, 1e2),
    "diode": (1e-3, 5.0),
    "hertz": (1e-1, 1e6),
    "rpm": (1.0, 1e5),
    "pressure": (1e2, 3e6),
    "temperature": (1e-1, 1e3),
    "capacitance": (1e-10, 1e-1),
    "seconds": (1e-2, 1e4),
    "torque": (1e-3, 1e3),
    "percent": (1e-1, 1e3),
}
FAR = 38.0  # standard deviations; what lies beyond is less than the smallest number
_SQRT_2PI = float(np.sqrt(2 * np.pi))


@dataclass(frozen=True)
class Node:
    """A nuisance node: the meter is off by ``gain`` shared standard uncertainties and the values
    that follow a quantity of the machine are off by ``scale`` relative standard deviations. The
    source stands ``level`` spans above its middle, anywhere within ``cell`` spans around it; with
    a ``cell`` of 0 anywhere in its span, each reading for itself. Past the end of the span it is
    ``beyond`` (relative) that level, anywhere within ``around`` of that."""

    gain: float
    scale: float
    weight: float
    level: float = 0.0
    cell: float = 0.0
    beyond: float = 0.0
    around: float = 0.0


def nodes(with_scale: bool) -> tuple[Node, ...]:
    """Three nodes for the meter alone, five with one quantity of the machine.

    The nodes carry half of each unit variance; the other half is added to every reading as
    independent blur (:data:`WITHIN`), so that no reading falls between two nodes.
    """
    a = float(np.sqrt(1.5))  # three-point Gauss-Hermite rule for a variance of one half
    gains = [Node(-a, 0, 1 / 6), Node(a, 0, 1 / 6)]
    if not with_scale:
        return (Node(0, 0, 2 / 3), *gains)
    return (Node(0, 0, 1 / 3), *gains, Node(0, -a, 1 / 6), Node(0, a, 1 / 6))


WITHIN = 0.5  # share of a nuisance's variance that is left inside a node


class Mixture:
    """Several forecasts of one test, as arrays of blurred boxes."""

    def __init__(self, forecasts: Sequence[Forecast]) -> None:
        owner: list[int] = []
        low: list[float] = []
        high: list[float] = []
        held: list[tuple[float, float, float]] = []  # the box with its source in the middle
        sd: list[float] = []
        share: list[float] = []
        piece_of: list[int] = []  # which piece each box is a part of
        owner_of: list[int] = []  # which forecast each piece belongs to
        piece_share: list[float] = []
        self.size = len(forecasts)
        self.over = np.zeros(self.size)
        self.unsteady = np.zeros(self.size)
        self.yes = np.array([0.5 if f.yes is None else f.yes for f in forecasts])
        for d, forecast in enumerate(forecasts):
            for piece in forecast.pieces:
                if piece.kind == "over":
                    self.over[d] += piece.share
                    continue
                if piece.kind == "unsteady":
                    self.unsteady[d] += piece.share
                    continue
                edges, still = _edges(piece, piece.low, piece.high), None
                if piece.held is not None:
                    still = _edges(piece, piece.held.low, piece.held.high)
                owner_of.append(d)
                piece_share.append(piece.share)
                for i, (a, b) in enumerate(pairwise(edges)):
                    moves = 0.0 if piece.held is None else piece.held.moves
                    held.append((a, b, 0.0) if still is None else (still[i], still[i + 1], moves))
                    piece_of.append(len(owner_of) - 1)
                    owner.append(d)
                    low.append(a)
                    high.append(b)
                    sd.append(piece.high if piece.kind == "around" else 0.0)
                    share.append(piece.share / (len(edges) - 1))
        self.low, self.high, self.sd = np.array(low), np.array(high), np.array(sd)
        self.held = np.array(held).reshape(len(held), 3)
        self.follows = bool(self.held[:, 2].any())
        self.share = np.array(share)
        self.owner = np.zeros((self.size, len(owner)))
        self.owner[owner, np.arange(len(owner))] = 1.0
        self._whole = np.zeros((len(owner_of), len(owner)))  # boxes averaged to their piece
        self._whole[piece_of, np.arange(len(owner))] = 1.0
        self._whole /= np.maximum(self._whole.sum(axis=1, keepdims=True), 1.0)
        self._shared = np.zeros((self.size, len(owner_of)))  # pieces added by their shares
        self._shared[owner_of, np.arange(len(owner_of))] = piece_share

    def cdf_boxes(
        self, x: Array, blur: Array, scale: Array, spread: float, source: Source | None = None
    ) -> Array:
        """P(shown <= x) of each box. ``x``, ``blur``, ``scale``: shape (q,); result (boxes, q).

        ``scale`` multiplies the boxes; ``spread`` is a further relative standard deviation. Where
        ``source`` is known, boxes that follow it stand by it, as wide as its cell lets them.
        """
        if source is None or not self.follows:
            return self._boxes(slice(None), x, blur, scale, spread)
        found = np.empty((len(self.low), len(x)))
        # the others are the same wherever the source stands
        alike, back = np.unique(np.stack([x, blur, scale]), axis=1, return_inverse=True)
        still = np.flatnonzero(self.held[:, 2] == 0)
        found[still] = self._boxes(
            still, alike[0], alike[1], alike[2], spread)[:, back.reshape(-1)]
        moving = np.flatnonzero(self.held[:, 2])
        low, high, moves = (self.held[moving, k, None] for k in range(3))
        level, cell, beyond, around = source
        known = cell > 0
        middle = 0.5 * (low + high)
        half = 0.5 * np.hypot(high - low, middle * (moves * cell + around))
        middle = middle * (1.0 + moves * level + beyond)
        seen = _inside(x, middle - half, middle + half, np.hypot(blur, WANDERS * middle))
        if not known.all():
            seen[:, ~known] = self._boxes(moving, x[~known], blur[~known], scale[~known], spread)
        found[moving] = seen
        return found

    def _boxes(
        self, which: NDArray[np.intp] | slice, x: Array, blur: Array, scale: Array, spread: float
    ) -> Array:
        lo = self.low[which, None] * scale
        hi = self.high[which, None] * scale
        middle = 0.5 * np.abs(lo + hi)
        s = np.sqrt(blur**2 + self.sd[which, None] ** 2 + (spread * middle) ** 2)
        return _inside(x, lo, hi, s)

    def cdf(
        self, x: Array, blur: Array, scale: Array, spread: float = 0.0,
        source: Source | None = None,
    ) -> Array:  # fmt: skip
        """P(shown <= x), over range and unsteady never; shape (forecasts, q)."""
        boxes = self.cdf_boxes(x, blur, scale, spread, source) * self.share[:, None]
        return np.asarray(self.owner @ boxes)

    def two_tails(self, at_most: Array, at_least: Array) -> Array:
        """P(at least this extreme) of each forecast, its pieces judged one by one, each whole.

        ``at_most`` and ``at_least``: P(shown <= reading) and P(shown >= reading) of each box,
        shape (boxes, ...); result (forecasts, ...). Over range and unsteady count as nothing.
        """
        tails = np.minimum(self._whole @ at_most, self._whole @ at_least)
        return np.asarray(self._shared @ np.minimum(1.0, 2.0 * tails))

    def finite(self) -> Array:
        """The share that shows a number at all."""
        return np.asarray(self.owner @ self.share)


def _inside(x: Array, lo: Array, hi: Array, s: Array) -> Array:
    """P(<= x) of boxes from lo to hi, blurred by s."""
    middle = 0.5 * np.abs(lo + hi)
    s = np.maximum(s, 1e-12 + 1e-9 * middle)
    width = hi - lo
    narrow = width < 1e-4 * s
    (pa, ga), (pb, gb) = _below((x - lo) / s), _below((x - hi) / s)
    wide = (ga - gb) * s / np.where(narrow, 1.0, width)
    return np.asarray(np.where(narrow, 0.5 * (pa + pb), np.clip(wide, 0.0, 1.0)))


def _edges(piece: Piece, low: float, high: float) -> list[float]:
    if piece.kind == "around":
        return [low, low]
    return list(np.geomspace(low, high, LOG_BOXES + 1)) if piece.kind == "log" else [low, high]


def _below(z: Array) -> tuple[Array, Array]:
    """Phi and its integral g; beyond FAR standard deviations they are 0 and 0, or 1 and z."""
    near = np.abs(z) < FAR
    p, g = (z > 0).astype(np.float64), np.maximum(z, 0.0)
    inner = z[near]
    phi = ndtr(inner)
    p[near] = phi
    g[near] = inner * phi + np.exp(-0.5 * inner * inner) / _SQRT_2PI
    return p, g


def _where(reading: Reading, at: Sequence[Node]) -> tuple[Array, Array, Array, float]:
    """Shifts, blur and scales for each node, and the resolution."""
    gain = np.array([n.gain for n in at])
    scale = np.array([n.scale for n in at])
    blur = np.full(len(at), np.sqrt(_unrounded(reading) + WITHIN * reading.u_shared**2))
    return gain * reading.u_shared, blur, scale, max(reading.resolution, 1e-9)


def _unrounded(reading: Reading) -> float:
    """Random variance without the rounding of the display, which the mass on a count has in it."""
    rounding = reading.resolution**2 / 12 if reading.kind == "value" else 0.0
    return max(reading.u_random**2 - rounding, 0.0)


def _scaled(scale: Array, spread: float) -> tuple[Array, float]:
    return 1.0 + scale * spread, float(np.sqrt(WITHIN)) * spread


def _place(at: Node) -> tuple[float, float, float, float]:
    return at.level, at.cell, at.beyond, at.around


def source_of(at: Sequence[Node]) -> Source | None:
    """Where the source stands at these nodes, (nodes,) each; None: anywhere, at all of them."""
    if not any(n.cell for n in at):
        return None
    level, cell, beyond, around = np.array([_place(n) for n in at]).T
    return level, cell, beyond, around


def mass(mixture: Mixture, reading: Reading, at: Sequence[Node], spread: float = 0.0) -> Array:
    """Probability of this reading under each forecast at each node, no slip.

    Shape (forecasts, nodes). ``spread``: relative standard deviation of the quantity that the
    test follows (0: none). Raises ValueError for a reading that is no evidence.
    """
    n = len(at)
    looks = [(a.gain, a.scale if spread else 0.0, *(_place(a) if mixture.follows else ()))
             for a in at]  # fmt: skip
    if len(set(looks)) < n:  # what this test does not follow makes no difference
        first = list(dict.fromkeys(looks))
        found = mass(mixture, reading, [at[looks.index(k)] for k in first], spread)
        return np.asarray(found[:, [first.index(k) for k in looks]])
    if reading.kind in ("yes", "no"):
        p = mixture.yes if reading.kind == "yes" else 1.0 - mixture.yes
        return np.repeat(p[:, None], n, axis=1)
    if reading.kind == "unsteady":
        return np.repeat(mixture.unsteady[:, None], n, axis=1)
    shift, blur, scale, step = _where(reading, at)
    factor, inner = _scaled(scale, spread)
    source = source_of(at)

    def below(x: float) -> Array:
        return mixture.cdf(x - shift, blur, factor, inner, source)

    if reading.kind == "over":
        limit = reading.low if reading.low is not None else np.inf
        tail = mixture.finite()[:, None] - below(limit) if np.isfinite(limit) else 0.0
        return np.asarray(
            np.clip(mixture.over[:, None] + tail, 0.0, 1.0) + np.zeros((mixture.size, n))
        )
    if reading.kind == "none" or reading.low is None or reading.high is None:
        raise ValueError(f"{reading.text!r} is no evidence; leave it out of the belief")
    low, high = reading.low, reading.high
    if reading.kind == "value":
        low, high = low - step / 2, high + step / 2
    return np.asarray(np.clip(below(high) - below(low), 0.0, 1.0))


def extremeness(mixture: Mixture, reading: Reading, spread: float = 0.0) -> Array:
    """Probability, under each forecast, of a reading at least this extreme; no slip.

    Shape (forecasts,). Each piece is judged by its own two tails and the pieces are added by
    their shares, so that a value between two possible ones is extreme. Over range and unsteady
    are judged by their own probability.
    """
    at = (Node(0, 0, 1),)
    if reading.kind in ("yes", "no", "unsteady", "over"):
        whole = mass(mixture, reading, nodes(spread > 0), spread)
        weights = np.array([n.weight for n in nodes(spread > 0)])
        return np.asarray(whole @ weights)
    if reading.low is None or reading.high is None:
        return np.ones(mixture.size)
    _, _, _, step = _where(reading, at)
    half = step / 2 if reading.kind == "value" else 0.0
    x = np.array([reading.high + half, reading.low - half])
    blur = np.full(2, np.sqrt(_unrounded(reading) + reading.u_shared**2))
    boxes = mixture.cdf_boxes(x, blur, np.ones(2), spread)
    return mixture.two_tails(boxes[:, 0], 1.0 - boxes[:, 1])


def extremeness_at(
    mixture: Mixture, reading: Reading, at: Sequence[Node], weights: Array, spread: float = 0.0
) -> Array:
    """The same for a value when other readings tell which nodes are likely: ``weights`` (nodes, q)
    in q cases, each summing to 1; shape (forecasts, q)."""
    assert reading.low is not None and reading.high is not None
    shift, blur, scale, step = _where(reading, at)
    factor, inner = _scaled(scale, spread)
    half = step / 2 if reading.kind == "value" else 0.0
    below = [mixture.cdf_boxes(x - shift, blur, factor, inner, source_of(at)) @ weights
             for x in (reading.high + half, reading.low - half)]  # fmt: skip
    return mixture.two_tails(below[0], 1.0 - below[1])


def anything(reading: Reading) -> float:
    """Probability of this reading when it says nothing of the machine: a slip, or a fault that is
    not on the list. A proper distribution over what the display can show, the same for all."""
    if reading.kind in ("yes", "no"):
        return 0.5
    if reading.kind == "over":
        return slip_over(reading.quantity)
    if reading.kind == "unsteady":
        return SLIP_UNSTEADY
    if reading.low is None or reading.high is None:
        raise ValueError(f"{reading.text!r} is no evidence; leave it out of the belief")
    step = max(reading.resolution, 1e-9)
    low, high = reading.low, reading.high
    if reading.kind == "value":
        low, high = low - step / 2, high + step / 2
    return anything_between(reading.quantity, low, high, step)


def slip_over(quantity: str | None) -> float:
    """Probability that a slip shows over range (OL) on this function."""
    return SLIP_SHOWS.get(quantity or "", SLIP_ELSE)[1]


def anything_between(quantity: str, low: float, high: float, step: float) -> float:
    """The same for a stretch of values (base units) on a display with this ``step``.

    A lost contact leaves a few millivolts, whatever the display makes of them: "0 V" holds all
    that it may leave, "0.00 V" a part, "0.0 mV" little. So a zero counts alike however it is
    typed."""
    small, large = REACH.get(quantity, (1e-3, 1e6))
    width = 2 * NO_CONTACT * small
    small = max(small, step)
    no_contact, over = SLIP_SHOWS.get(quantity, SLIP_ELSE)
    rest = 1.0 - no_contact - over - SLIP_UNSTEADY
    zero = max(0.0, min(high, width / 2) - max(low, -width / 2)) / width
    decades = float(np.log(large / small))

    def part(a: float, b: float) -> float:
        a, b = max(a, small), min(b, large)
        return float(np.log(b / a)) / decades if b > a else 0.0

    found = no_contact * zero + rest * (0.8 * part(low, high) + 0.2 * part(-high, -low))
    return max(found, 1e-9)
