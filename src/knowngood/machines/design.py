"""A small fixed design over what varies between good machines, and its readings as a forecast.

Seven machines stand for all: each spread takes each of seven evenly spaced levels once, from end
to end, every spread in another order (a Latin square design: level (a i + b) mod 7 in machine i).
The range of a fault, such as the ohms of a corroded joint, takes its levels in order; where a fault
has several ranges, or several faults are there, four more machines have them at their ends in every
mix of two. What they read is widened: by WIDER of its width at either end where many spreads make
it, because the worst mix of them is rarely among seven, and by LEAST where one spread or a range
of a fault makes it, whose ends are among the seven.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Final, Literal

from knowngood.circuit.probe import Climbing, NoReading, Probe, Read, Shown
from knowngood.isolate.forecast import Forecast, Held, Piece

POINTS: Final = 7
"""Machines of the design; a prime, so that every step permutes the levels."""
CORNERS: Final = (POINTS, POINTS + 1, POINTS + 2, POINTS + 3)
"""Machines in which the ranges of faults are at their ends."""
HELD: Final = 100
"""Machine HELD + n is machine n with its source in the middle of the span."""
LEFT: Final = 0.95
"""A range that is more than this share as wide with the source held does not follow it."""
WIDER: Final = 0.2
LEAST: Final = 0.1
LOG_FROM: Final = 10.0
"""Readings whose highest is more than this many times the lowest are spread on a log scale."""
STRAY: Final = 0.1
"""Volts that a meter may pick up on a wire that nothing holds, where a good machine has more than
FIRM volts (common practice); elsewhere, and there every second time, it shows NOUGHT at most."""
FIRM: Final = 1.0
NOUGHT: Final = 1e-3
SHORTED: Final = (0.005, 0.05)
"""Volts up to which the diode range shows a short, half of the time and always: a milliampere or so
through leads and tips makes up to a millivolt, and a hand meter adds some counts of its own (common
practice)."""
PATIENCE: Final = 15.0
"""Seconds that a person waits for a climbing display."""

WAITS: Final = 60.0
"""Seconds after which a person writes down ohms that creep towards where they end (common
practice)."""

Outcome = float | Literal["OL", "unsteady"]


def level(row: int, column: int) -> float:
    """Where spread `column` stands in machine `row`, 0 to 1. Column -1: the range of a fault."""
    if column < 0:
        return row / (POINTS - 1)
    step, shift = 1 + column % (POINTS - 1), 1 + column // (POINTS - 1)
    return (row * step + shift) % POINTS / (POINTS - 1)


def corner(row: int, number: int) -> float:
    """Where the range `number` of a fault stands in a machine of the CORNERS: at either end."""
    first, second = divmod(row - POINTS, 2)
    return float((first, second, first ^ second)[number % 3])


def is_range(span: Piece | None) -> bool:
    """Whether a span is more than one value."""
    return span is not None and (span.kind != "around" or span.high > 0)


def value_at(span: Piece, where: float) -> float:
    """The value at a level of a span; a normal one from -2 to +2 standard deviations."""
    if span.kind == "around":
        return span.low + 2 * span.high * (2 * where - 1)
    if span.kind == "log":
        return float(span.low * (span.high / span.low) ** where)
    return span.low + (span.high - span.low) * where


def outcome_of(shown: Shown, probe: Probe) -> Outcome:
    """What a person writes down: of a climbing display where it ends, if that comes soon."""
    if isinstance(shown, NoReading):
        return "unsteady"
    if isinstance(shown, Climbing):
        full = probe.open_volts / (probe.test_current if shown.unit == "ohms" else 1.0)
        end = full if shown.settles is None else min(shown.settles, full)
        late = (end - shown.start) / max(shown.per_second, 1e-30) > PATIENCE
        return "unsteady" if late else "OL" if shown.settles is None else shown.settles
    return shown


def crept(shown: Shown, full_scales: Sequence[float]) -> Shown:
    """Ohms across a capacitor, as they stand after WAITS on a meter that ranges by itself.

    Its first range fills the capacitor at once, so that every range begins at its end; on the one
    that holds the ohms the display then falls towards them as the capacitor empties through them.
    """
    if not isinstance(shown, Climbing) or shown.settles is None or shown.unit != "ohms":
        return shown
    ohms = shown.settles
    end = next((f for f in full_scales if f >= ohms), ohms)
    if end == full_scales[0]:
        return ohms  # nothing was filled before
    return ohms + (end - ohms) * math.exp(-WAITS * shown.per_second / ohms)


def picked(outcomes: Sequence[Outcome], write: str) -> Outcome:
    """Of several pairs the highest or lowest, or their spread; over range is higher than any
    value."""
    if len(outcomes) == 1:
        return outcomes[0]
    if "unsteady" in outcomes:
        return "unsteady"
    sized = [math.inf if o == "OL" else float(o) for o in outcomes]
    if write == "spread":
        apart = max(sized) - min(sized)
        return "OL" if math.inf in sized else apart if apart > 1e-9 * max(sized) else 0.0
    best = max(sized, key=abs) if write == "highest" else min(sized, key=abs)
    return "OL" if math.isinf(best) else best


def pieces_of(
    outcomes: Sequence[Outcome], read: Read, share: float = 1.0, *, firm: bool = False,
    held: Sequence[tuple[Outcome, float]] = (),
) -> list[Piece]:  # fmt: skip
    """The readings of the machines of the design as pieces that make `share` together. `firm`: a
    good machine has volts there. A short on the diode range is what `SHORTED` says. `held`: of each
    machine what it reads with its source in the middle, and where that stands, 0 to 1."""
    values = [o for o in outcomes if not isinstance(o, str)]
    each = share / len(outcomes)
    shorts = [v for v in values if read == "diode" and abs(v) < SHORTED[-1]]
    if shorts:
        values = [v for v in values if abs(v) >= SHORTED[-1]]
    nought = 0.0 if read != "volts" else STRAY if firm else NOUGHT
    # where some of the machines are dead, those are a way of their own
    dead = [v for v in values if abs(v) < 1e-3 * nought]
    alive = [v for v in values if abs(v) >= 1e-3 * nought]
    found = _nothing(nought, each * len(dead)) if dead else []
    found += [Piece("between", 0.0, v, each * len(shorts) / 2) for v in SHORTED if shorts]
    if alive:
        piece = _range(alive, each * len(alive))
        both = [(v, *h) for v, h in zip(outcomes, held, strict=False)
                if not isinstance(v, str) and abs(v) >= 1e-3 * nought]  # fmt: skip
        found.append(replace(piece, held=_held(piece, both, 1e-3 * nought)))
    for kind, word in (("over", "OL"), ("unsteady", "unsteady")):
        count = sum(1 for o in outcomes if o == word)
        if count:
            found.append(Piece(kind, share=each * count))  # type: ignore[arg-type]
    return found


def _nothing(nought: float, share: float) -> list[Piece]:
    """What a meter shows where nothing is: as often hardly anything as what it picks up."""
    ends = [nought] if nought <= NOUGHT else [NOUGHT, nought]
    return [Piece("between", 0.0, end, share / len(ends)) for end in ends]


def is_firm(good: Sequence[Outcome], read: Read) -> bool:
    """Whether a good machine has volts there."""
    values = [abs(o) for o in good if not isinstance(o, str)]
    return read == "volts" and bool(values) and min(values) > FIRM


def _range(values: Sequence[float], share: float) -> Piece:
    low, high = min(values), max(values)
    wider = LEAST if len(values) > POINTS or _of_one_spread(values) else WIDER
    if low > 0 and high / low > LOG_FROM:
        factor = (high / low) ** (wider / 2)
        return Piece("log", _digits(low / factor), _digits(high * factor), share)
    if high - low <= 1e-6 * max(abs(low), abs(high)):
        return Piece("around", _digits(low), 0.0, share)
    more = wider * (high - low)
    start = low - more
    if low > 0:  # never down to nothing, which a range of ohms beside 0 is not
        start = max(start, low / 2)
    elif low == 0:
        start = 0.0
    return Piece("between", _digits(start), _digits(high + more), share)


def _held(
    whole: Piece, seen: Sequence[tuple[float, Outcome, float]], least: float
) -> Held | None:
    """What is left of a piece with the source held, of (reading, reading with the source in the
    middle, where it stands); None where that is hardly less. What the source does beyond moving all
    alike stays in the range."""
    still = [w for _, w, _ in seen if not isinstance(w, str) and abs(w) > max(least, 1e-9)]
    if len(still) < len(seen) or len(seen) < POINTS or whole.kind == "around":
        return None
    away = [at - 0.5 for _, _, at in seen]
    apart = [v / w - 1 for (v, _, _), w in zip(seen, still, strict=True)]
    moves = sum(a * y for a, y in zip(away, apart, strict=True)) / sum(a * a for a in away)
    if not 1e-4 < abs(moves) < 1.0:
        return None
    back = [v / (1 + moves * a) for (v, _, _), a in zip(seen, away, strict=True)]
    piece = _range(still, 1.0)
    low, high = min(piece.low, *back), max(piece.low, *back)
    if piece.kind != "around":
        high = max(high, piece.high)
    if whole.kind == "log" and (low <= 0 or high / low <= 1.01):
        return None
    wide = math.log(high / low) / math.log(whole.high / whole.low) if whole.kind == "log" else (
        (high - low) / (whole.high - whole.low))
    return Held(_digits(low), _digits(high), _digits(moves)) if wide <= LEFT else None


def _of_one_spread(values: Sequence[float]) -> bool:
    """Whether the readings follow the levels of one spread: the machines in the order of their
    readings are then evenly spaced in the design (modulo POINTS)."""
    if len(values) != POINTS:
        return False
    order = sorted(range(POINTS), key=lambda i: values[i])
    steps = {(b - a) % POINTS for a, b in pairwise(order)}
    return len(steps) == 1


def _digits(value: float) -> float:
    return float(f"{value:.4g}")


def mixed(pieces: Iterable[Piece]) -> Forecast:
    """A forecast of these pieces, equal ones joined, shares rounded to make 1."""
    sums: dict[tuple[str, float, float, Held | None], float] = {}
    for piece in pieces:
        key = (piece.kind, piece.low, piece.high, piece.held)
        sums[key] = sums.get(key, 0.0) + piece.share
    total = sum(sums.values())
    kept = {k: s / total for k, s in sums.items() if s / total > 5e-4}
    total = sum(kept.values())
    return Forecast(tuple(
        Piece(kind, low, high, round(share / total, 6), held)  # type: ignore[arg-type]
        for (kind, low, high, held), share in kept.items()
    ))
