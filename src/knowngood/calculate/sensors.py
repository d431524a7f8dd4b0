"""Sensors and switches of power: Hall codes, the transistor bridge by diode readings, thermistors,
a potentiometer's sweep."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

HALL_ORDER: Final = ("101", "100", "110", "010", "011", "001")
"""Codes of three Hall sensors 120 electrical degrees apart, one turn of the field, in order (as in
application notes of controller makers). 000 and 111 do not occur."""
HALL_ORDER_60: Final = ("000", "100", "110", "111", "011", "001")
"""The same at 60 degrees, which is 120 with the middle sensor turned over: 010 and 101 do not
occur."""

Phase = Literal["u", "v", "w"]
Rail = Literal["plus", "minus"]
PHASES: Final[tuple[Phase, ...]] = ("u", "v", "w")
RAILS: Final[tuple[Rail, ...]] = ("plus", "minus")

SHORT_BELOW: Final = 0.1
DIODE_LOW, DIODE_HIGH = 0.3, 0.9
"""Volts on the diode range: under 0.1 a short; a body diode reads 0.4 to 0.7 (bench-meter manuals
say 0.5 to 0.8 or 0.4 to 0.9 for silicon), with some room here; warm or synchronous ones are low."""
ALIKE_WITHIN: Final = 0.05
"""Volts within which the three of one rail agree on a sound bridge (common practice)."""

KELVIN: Final = 273.15

NOISE_LIMIT: Final = 2.0
"""% of span of scatter above which a sweep is called noisy (common practice; a setting)."""
JUMP: Final = 0.15
"""Share of the span above which a sample off its neighbours, or a step of more than 2.5 times the
steps beside it, is a dead spot (common practice)."""
Taper = Literal["linear", "log", "reverse log", "unclear"]
"""By the value at half travel: 0.4 to 0.6, up to 0.25, from 0.75 of the span (common practice)."""


@dataclass(frozen=True, slots=True)
class HallFinding:
    """Whether a run of Hall codes is sound, which line (1 to 3) is stuck if one is, the way it
    turned (+1 along HALL_ORDER, -1 against, 0 not known), and all that in words."""

    good: bool
    stuck: tuple[int, ...]
    way: int
    words: str


def hall_sequence(codes: Sequence[str]) -> HallFinding:
    """What codes such as "101", read one after another while the rotor is turned slowly by hand
    (phase leads unplugged, sensors fed), say about the sensors.

    A step may be missed, since a magnet passes quickly: a jump over one code is no fault here, a
    forbidden code and a line that never changes over a full turn are. Repeats are dropped. Raises
    ValueError for a code that is not three of 0 and 1, or none at all. Source: `HALL_ORDER`.
    """
    for code in codes:
        if len(code) != 3 or set(code) - {"0", "1"}:
            raise ValueError(f"Hall code {code!r}: three of 0 and 1, such as 101")
    if not codes:
        raise ValueError("no Hall codes; turn slowly and write them down, such as 101 100 110")
    run = [codes[0], *(b for a, b in pairwise(codes) if a != b)]
    seen = set(run)
    if len(seen) >= 3 and {"000", "111"} <= seen and not seen & {"010", "101"}:
        return _ordered(run, HALL_ORDER_60, "sensors 60 degrees apart (or the middle one reversed)")
    if len(run) < 6 and not seen & {"000", "111"}:
        return HallFinding(
            False, (), 0, f"only {len(run)} different steps: turn on until all three have changed"
        )
    stuck = tuple(i + 1 for i in range(3) if len({code[i] for code in run}) == 1)
    if stuck:
        lines = " and ".join(str(i) for i in stuck)
        state = run[0][stuck[0] - 1]
        fed = "feed or ground of the sensor board" if len(stuck) == 3 else "sensor, plug or wire"
        return HallFinding(False, stuck, 0, f"line {lines} stays {state}: {fed}")
    bad = sorted(seen & {"000", "111"})
    if bad:
        return HallFinding(
            False, (), 0, f"{' and '.join(bad)} cannot occur at 120 degrees: a sensor or a wire"
        )
    return _ordered(run, HALL_ORDER, "sensors 120 degrees apart")


def _ordered(run: list[str], order: tuple[str, ...], spacing: str) -> HallFinding:
    places = [order.index(code) for code in run if code in order]
    steps = [(b - a) % 6 for a, b in pairwise(places)]
    ahead, back = steps.count(1), steps.count(5)
    if 3 in steps or (ahead and back):
        words = f"{spacing}, but out of order: turned back, or a sensor that drops out"
        return HallFinding(False, (), 0, f"{words}; turn one way and repeat")
    if len(set(run)) < 6:
        return HallFinding(False, (), 0, f"{spacing}: {len(set(run))} of 6 codes seen, turn on")
    return HallFinding(True, (), 1 if ahead >= back else -1, f"{spacing}: all six codes, in order")


@dataclass(frozen=True, slots=True)
class BridgeFinding:
    """Transistors found shorted and open ("u plus": from phase u to B+), and all that in words."""

    shorted: tuple[str, ...]
    open: tuple[str, ...]
    words: str

    @property
    def good(self) -> bool:
        return not self.shorted and not self.open


def bridge(
    forward: Mapping[tuple[Phase, Rail], float],
    reverse: Mapping[tuple[Phase, Rail], float] | None = None,
) -> BridgeFinding:
    """Which transistor of a three-phase bridge is shorted, from diode readings in volts.

    Pack out, capacitor discharged, motor unplugged. `forward` has six readings: each phase to plus
    (red on the phase, black on B+) and to minus (red on B-, black on the phase); OL is inf.
    `reverse` is the same with the probes swapped: a sound one shows OL or climbs as the capacitor
    fills. Low both ways is a short; low forward alone, with the reverse not taken, is called a
    short too, to be confirmed.

    This sees the power path only: a dead gate driver reads as sound. Raises ValueError unless all
    six are given and none is below zero. Source: textbook; limits see `SHORT_BELOW`.
    """
    _six(forward)
    if reverse is not None:
        _six(reverse)
    spots = [(phase, rail) for rail in RAILS for phase in PHASES]
    low = [s for s in spots if forward[s] < SHORT_BELOW]
    shorted = [s for s in low if reverse is None or reverse[s] < SHORT_BELOW]
    one_way = [s for s in low if s not in shorted]
    opened = [s for s in spots if forward[s] == math.inf or forward[s] > 2 * DIODE_HIGH]
    names = tuple(f"{p} {r}" for p, r in shorted)
    opens = tuple(f"{p} {r}" for p, r in opened)
    words = [*_shorts(shorted, reverse is None), *_odd(forward, shorted, opened)]
    if one_way:
        spot = ", ".join(f"{p} {r}" for p, r in one_way)
        words.append(f"{spot} low one way only: probe contact or another path; read it again")
    if len(opened) == 6:
        words.append("all six open: probes swapped, or not on the rails")
    elif opened:
        words.append(f"{', '.join(opens)} open: transistor burnt open, or a track or solder joint")
    return BridgeFinding(names, opens, "; ".join(words) or "six diodes, alike: no short, none open")


def _shorts(shorted: list[tuple[Phase, Rail]], unconfirmed: bool) -> list[str]:
    words = []
    for rail in RAILS:
        on_rail = [phase for phase, where in shorted if where == rail]
        if len(on_rail) == 3:
            words.append(
                f"all three phases short to {rail}: with the motor connected one short shows on"
                " all; unplug it and repeat"
            )
        elif on_rail:
            words.append(f"phase {' and '.join(on_rail)} short to {rail}")
    if any((phase, "plus") in shorted and (phase, "minus") in shorted for phase in PHASES):
        words.append("both of one phase: B+ to B- is short too, the fuse is gone, no new fuse yet")
    if shorted and unconfirmed:
        words.append("confirm with the probes swapped")
    return words


def _odd(
    forward: Mapping[tuple[Phase, Rail], float],
    shorted: list[tuple[Phase, Rail]],
    opened: list[tuple[Phase, Rail]],
) -> list[str]:
    words = []
    for rail in RAILS:
        left = {p: forward[p, rail] for p in PHASES if (p, rail) not in [*shorted, *opened]}
        values = sorted(left.values())
        if len(values) == 3 and values[-1] - values[0] > ALIKE_WITHIN:
            odd = max(left, key=lambda p: abs(left[p] - values[1]))
            words.append(f"{odd} {rail} differs by more than {ALIKE_WITHIN:g} V: suspect, not bad")
        words += [
            f"{p} {rail} reads {v:.2f} V, outside {DIODE_LOW:g} to {DIODE_HIGH:g}: leaky or a"
            " second path"
            for p, v in left.items()
            if v >= SHORT_BELOW and not DIODE_LOW <= v <= DIODE_HIGH
        ]
    return words


def _six(readings: Mapping[tuple[Phase, Rail], float]) -> None:
    missing = [f"{p} {r}" for p in PHASES for r in RAILS if (p, r) not in readings]
    if missing:
        raise ValueError(f"no reading for {', '.join(missing)}; six are needed, OL is inf")
    for (phase, rail), volts in readings.items():
        if not volts >= 0:
            raise ValueError(f"{phase} {rail}: {volts:g} V is below zero: something is charged")


def ntc_ohms(celsius: float, ohms_25: float = 10_000.0, beta: float = 3950.0) -> float:
    """Ohms of a thermistor by its beta: R25 exp(beta (1/T - 1/298.15)), T in kelvin.

    Off by about 1 K at 0 and at 100 degC for a 10 kohm B 3950 (0.60 and 1.27 K). Raises ValueError
    outside -55 to 150 degC, or for ohms or beta out of reach. Source: textbook.
    """
    _ntc(ohms_25, beta)
    kelvin = _celsius(celsius) + KELVIN
    return ohms_25 * math.exp(beta * (1 / kelvin - 1 / (25 + KELVIN)))


def ntc_celsius(ohms: float, ohms_25: float = 10_000.0, beta: float = 3950.0) -> float:
    """degC from the ohms of a thermistor: the way back of `ntc_ohms`.

    Raises ValueError for ohms not above zero, or where that is outside -55 to 150 degC: then it is
    open, shorted or another part.
    """
    _ntc(ohms_25, beta)
    if not 0 < ohms < math.inf:
        raise ValueError(f"{ohms:g} ohm: a thermistor that reads this is shorted or open")
    inverse = 1 / (25 + KELVIN) + math.log(ohms / ohms_25) / beta
    if not inverse > 0:
        raise ValueError(f"{ohms:g} ohm is no {ohms_25:g} ohm thermistor; shorted?")
    return _celsius(1 / inverse - KELVIN)


def steinhart_hart(points: Sequence[tuple[float, float]]) -> tuple[float, float, float]:
    """A, B, C of 1/T = A + B ln R + C (ln R)^3 through three (degC, ohms).

    Raises ValueError unless there are three, apart by 5 K or more, ohms falling with warmth.
    Source: Steinhart & Hart 1968.
    """
    if len(points) != 3:
        raise ValueError(f"three points are needed, got {len(points)}")
    ordered = sorted(points)
    for (cold, high), (warm, low) in pairwise(ordered):
        if not (warm - cold >= 5 and high > low > 0):
            raise ValueError(
                f"{cold:g} degC {high:g} ohm and {warm:g} degC {low:g} ohm: points 5 K apart or"
                " more, with ohms that fall"
            )
    log = np.log([ohms for _, ohms in ordered])
    inverse = [1 / (_celsius(c) + KELVIN) for c, _ in ordered]
    a, b, c = np.linalg.solve(np.column_stack([np.ones(3), log, log**3]), inverse)
    return float(a), float(b), float(c)


def steinhart_hart_celsius(ohms: float, coefficients: tuple[float, float, float]) -> float:
    """degC of a thermistor by `steinhart_hart` coefficients: within 0.2 K between points at 0, 25
    and 100 degC, 1 K off at -20 (10 kohm B 3950). Raises ValueError as `ntc_celsius`."""
    if not 0 < ohms < math.inf:
        raise ValueError(f"{ohms:g} ohm: a thermistor that reads this is shorted or open")
    a, b, c = coefficients
    log = math.log(ohms)
    inverse = a + b * log + c * log**3
    if not inverse > 0:
        raise ValueError(f"{ohms:g} ohm is far outside the three points")
    return _celsius(1 / inverse - KELVIN)


@dataclass(frozen=True, slots=True)
class Sweep:
    """A potentiometer turned end to end. `low`, `high` are its ends (in the unit given), `dead` the
    stretches without contact or with a jump, as shares of the travel; `noise` the scatter about a
    smooth sweep in % of the span; `taper` the shape."""

    low: float
    high: float
    dead: tuple[tuple[float, float], ...]
    noise: float
    taper: Taper
    good: bool
    words: str


def sweep(samples: ArrayLike, noise_limit: float = NOISE_LIMIT) -> Sweep:
    """What samples of wiper ohms or volts, taken at even steps of the travel, say about a
    potentiometer or a Hall trigger. OL is inf or nan. Eight samples or more.

    Scatter is measured against the middle one of five neighbours, which any steady sweep passes
    through whatever its taper; so a scatter smaller than one step is not seen, uneven steps look
    like another taper, and a slow meter hides a short dead spot. Raises ValueError for fewer than
    eight samples, or hardly any with contact. Source: definitions; limits common practice.
    """
    values = np.asarray(samples, dtype=np.float64)
    if values.ndim != 1 or values.size < 8:
        raise ValueError(f"{values.size} samples: take eight or more, at even steps of the travel")
    contact = np.isfinite(values)
    if contact.sum() < 4:
        raise ValueError("no contact nearly everywhere: wiper, plug or wire open")
    place = np.linspace(0.0, 1.0, values.size)
    where, known = place[contact], values[contact]
    smooth = _middle_of_five(known)
    low, high = float(smooth.min()), float(smooth.max())
    span = high - low
    if span == 0:
        raise ValueError(f"{low:g} all the way: the wiper does not move, or the wrong two pins")
    rest, steps = (known - smooth) / span, np.abs(np.diff(smooth)) / span
    spike = np.abs(rest) > JUMP
    beside = np.maximum(np.append(steps[1:], 0.0), np.insert(steps[:-1], 0, 0.0))
    leap = (steps > JUMP) & (steps > 2.5 * beside)
    spots = [(float(p), float(p)) for p in [*place[~contact], *where[spike]]]
    spots += [(float(where[i]), float(where[i + 1])) for i in np.flatnonzero(leap)]
    dead = tuple(_joined(sorted(spots), 1.01 / (values.size - 1)))
    noise = 100 * float(np.sqrt(np.mean(rest[~spike] ** 2)))
    middle = (float(np.interp(0.5, where, smooth)) - low) / span
    falling = smooth[-1] < smooth[0]
    words = [f"no good contact at {_stretch(a, b)} of the travel" for a, b in dead]
    if noise > noise_limit:
        words.append(f"scatter of {noise:.1f} % of the span, over {noise_limit:g}")
    said = "; ".join(words) or "smooth from end to end"
    taper = _taper(1 - middle if falling else middle)
    return Sweep(low, high, dead, noise, taper, not words, said)


def _stretch(start: float, end: float) -> str:
    first, last = f"{100 * start:.0f}", f"{100 * end:.0f}"
    return f"{first} %" if first == last else f"{first} to {last} %"


def _middle_of_five(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Each sample replaced by the middle one of it and two on each side; fewer near the ends."""
    last = values.size - 1
    reach = [min(2, i, last - i) for i in range(values.size)]
    return np.array([np.median(values[i - r : i + r + 1]) for i, r in enumerate(reach)])


def _taper(middle: float) -> Taper:
    if 0.4 <= middle <= 0.6:
        return "linear"
    if middle <= 0.25:
        return "log"
    return "reverse log" if middle >= 0.75 else "unclear"


def _joined(spots: list[tuple[float, float]], gap: float) -> list[tuple[float, float]]:
    """Stretches that touch or lie within one step of another, made one."""
    joined: list[tuple[float, float]] = []
    for start, end in spots:
        if joined and start - joined[-1][1] <= gap:
            joined[-1] = (joined[-1][0], max(end, joined[-1][1]))
        else:
            joined.append((start, end))
    return joined


def _celsius(celsius: float) -> float:
    if not -55 <= celsius <= 150:
        raise ValueError(
            f"{celsius:.4g} degC is outside -55 to 150: open, shorted, or another thermistor"
        )
    return celsius


def _ntc(ohms_25: float, beta: float) -> None:
    if not 0 < ohms_25 < math.inf or not 1000 <= beta <= 8000:
        raise ValueError(
            f"{ohms_25:g} ohm at 25 degC, beta {beta:g}: ohms above zero, beta 1000 to 8000 K,"
            " such as 10 kohm and 3950"
        )
