"""Three-phase magnet motors: volts when spun, speed, balance of the pairs, braking, winding ohms.

The speed constant is in rpm per volt of line-to-line *peak*: what the pack's volts act as under
six-step drive. Pairs are in the order ab, bc, ca, as in `resistance`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Literal

from scipy.optimize import brentq

from knowngood.calculate.resistance import (
    COPPER,
    Three,
    at_temperature,
    parallel,
    wye_from_terminals,
    wye_to_delta,
)

Shape = Literal["trapezoid", "sine"]
Connection = Literal["wye", "delta"]

PEAK_PER_RMS: Final[dict[Shape, float]] = {"trapezoid": 3 / math.sqrt(5), "sine": math.sqrt(2)}
"""Line-to-line peak over rms. Trapezoid: phase volts flat over 120 degrees, straight in between,
so the difference of two phases has rms sqrt(5) / 3 of its peak (worked out; 1.3416)."""

AVERAGING: Final[dict[Shape, float]] = {"trapezoid": math.pi / math.sqrt(10), "sine": 1.0}
"""What an averaging meter shows over the true rms: form factor of a sine (textbook) times mean over
rms of the shape. Trapezoid line to line: mean 2/3, rms sqrt(5)/3 of the peak, so -0.65 %."""

SLOWEST: Final = 300.0
"""rpm under which a speed constant is refused: with cogging and a hand or a slow drill the speed
ripples, 30 % at 60 rpm against 0.08 % at 1200 (computed for an assumed motor)."""

DOUBT_BY_FREQUENCY: Final = 1.0
DOUBT_AT_ONE_SPEED: Final = 2.0
"""% of unbalance that a healthy motor can show. 2 when volts alone are compared: a drill that
wanders by 1 % makes 0.9 % in the middle and 1.9 % in one case of twenty (computed by simulation).
1 when each reading is divided by its own frequency (common practice)."""

DEAD: Final = 0.2
"""A pair under this share of the highest one is called dead (common practice)."""


def electrical_hertz(rpm: float, pole_pairs: int) -> float:
    """Hz at the leads of a motor with `pole_pairs` at `rpm`: pole pairs x rpm / 60.

    Raises ValueError for rpm below zero or pole pairs outside 1 to 60. Source: textbook.
    """
    if not 0 <= rpm < math.inf:
        raise ValueError(f"{rpm:g} rpm: the speed must be zero or more")
    return _pairs(pole_pairs) * rpm / 60


def shaft_rpm(hertz: float, pole_pairs: int) -> float:
    """rpm of the shaft from the frequency at the leads: 60 x Hz / pole pairs. Errors and source as
    `electrical_hertz`."""
    if not 0 <= hertz < math.inf:
        raise ValueError(f"{hertz:g} Hz: the frequency must be zero or more")
    return 60 * hertz / _pairs(pole_pairs)


def pole_pairs_from(hertz: float, rpm: float) -> int:
    """Pole pairs from the frequency at the leads and the shaft speed, read together: 60 x Hz / rpm.

    Raises ValueError if that is not within 5 % of a whole number: up to 10 pole pairs the two
    readings are then not of one moment; above, count the magnets. Source: textbook.
    """
    if not (rpm >= SLOWEST and 0 < hertz <= 1e6):
        raise ValueError(f"need {SLOWEST:g} rpm or more and a frequency; got {rpm:g}, {hertz:g} Hz")
    exact = 60 * hertz / rpm
    whole = round(exact)
    if not 1 <= whole <= 60 or abs(exact - whole) > 0.05 * exact:
        raise ValueError(
            f"{hertz:g} Hz at {rpm:g} rpm is {exact:.2f} pole pairs, not a whole number;"
            " read speed and frequency at one time, or count the magnets and halve"
        )
    return whole


def true_volts(
    shown: float,
    hertz: float,
    *,
    shape: Shape = "trapezoid",
    true_rms: bool = True,
    bandwidth: float | None = None,
) -> float:
    """RMS volts behind what a meter shows: an averaging meter (`true_rms` False) is wrong by its
    form factor, and any meter loses by one pole at `bandwidth` Hz: x sqrt(1 + (f / bandwidth)^2).

    Good to about half of the correction: the pole is a fit, and harmonics lose more than the
    fundamental. Raises ValueError for volts or Hz below zero, or above twice the bandwidth, where a
    meter's sheet says nothing. Source: textbook; one pole near 4.9 kHz fits a published test of a
    cheap handheld.
    """
    _volts(shown)
    if not 0 <= hertz < math.inf:
        raise ValueError(f"{hertz:g} Hz: the frequency must be zero or more")
    rms = shown if true_rms else shown / AVERAGING[_shape(shape)]
    if bandwidth is None:
        return rms
    if not bandwidth > 0 or hertz > 2 * bandwidth:
        raise ValueError(
            f"{hertz:g} Hz is past what a meter good to {bandwidth:g} Hz can show; spin slower"
        )
    return rms * math.hypot(1.0, hertz / bandwidth)


def shown_volts(
    rms: float,
    hertz: float,
    *,
    shape: Shape = "trapezoid",
    true_rms: bool = True,
    bandwidth: float | None = None,
) -> float:
    """What a meter shows of `rms` volts at `hertz`: the way back of `true_volts`, with its errors,
    its doubt and its source."""
    _volts(rms)
    return rms / true_volts(1.0, hertz, shape=shape, true_rms=true_rms, bandwidth=bandwidth)


def speed_constant(volts_rms: float, rpm: float, shape: Shape = "trapezoid") -> float:
    """Speed constant in rpm per line peak volt from line-to-line rms volts of a spun motor:
    rpm / (peak per rms x volts). Nothing may be connected but the meter.

    Raises ValueError under 300 rpm (by hand the speed ripples too much), above 100 000, or for
    volts not above zero. Taking a trapezoid for a sine puts it 5.1 % low. Source: textbook.
    """
    if not SLOWEST <= rpm <= 100_000:
        raise ValueError(
            f"{rpm:g} rpm is outside {SLOWEST:g} to 100000; spin it with a drill at a steady speed"
        )
    _volts(volts_rms)
    if volts_rms == 0:
        raise ValueError("0 V while it spins: no speed constant; check leads, magnets, shaft")
    return rpm / (PEAK_PER_RMS[_shape(shape)] * volts_rms)


def spun_volts(rpm_per_volt: float, rpm: float, shape: Shape = "trapezoid") -> float:
    """Line-to-line rms volts to expect of a motor spun at `rpm`. The way back of
    `speed_constant`, with its limits."""
    return speed_constant(1.0, rpm, shape) / _constant(rpm_per_volt)


def no_load_rpm(rpm_per_volt: float, pack_volts: float) -> float:
    """Speed without load at `pack_volts`: constant x volts, full duty, six-step drive.

    A real motor stays 2 to 10 % below (friction, air, resistance; common practice); a controller
    that advances the timing goes above. Raises ValueError below zero. Source: textbook.
    """
    return _constant(rpm_per_volt) * _volts(pack_volts)


def back_volts(rpm_per_volt: float) -> float:
    """Volts of line peak per rad/s: 60 / (2 pi x constant). It is also the torque in N m per ampere
    of pack current under six-step drive (two phases carry it). Source: textbook."""
    return 60 / (2 * math.pi * _constant(rpm_per_volt))


@dataclass(frozen=True, slots=True)
class Balance:
    """`level`: the pairs, in volts per Hz if frequencies were given, else volts. `unbalance` in %
    (NEMA MG 1: largest departure from the average, by the average), `doubt` in % what a healthy
    motor can show. `odd` is the phase or pair that stands out, "" if none; `turns_missing` the
    share of turns short in that phase of a wye that would do this (0 if that is not the picture).
    """

    level: Three
    unbalance: float
    doubt: float
    odd: str
    turns_missing: float
    meaning: str


def unbalance(ab: float, bc: float, ca: float) -> float:
    """Unbalance of three readings in %: 100 x largest departure from the average / average.

    Raises ValueError for readings below zero or all zero. Source: NEMA MG 1, definition of voltage
    unbalance (as quoted in several published worked examples).
    """
    mean = (_volts(ab) + _volts(bc) + _volts(ca)) / 3
    if mean == 0:
        raise ValueError("all three read nothing: no balance; spin it, check the range and leads")
    return 100 * max(abs(v - mean) for v in (ab, bc, ca)) / mean


def balance(volts: Three, hertz: Three | None = None, doubt: float | None = None) -> Balance:
    """What three AC readings of a spun motor (V, order ab, bc, ca) say, each divided by its own
    frequency if `hertz` is given.

    A magnet motor open at the leads: the meter draws nothing, so a joint of a few ohms does not
    show, and a delta with an open side reads alike; both show in ohms. Raises ValueError as
    `unbalance`, or for a frequency not above zero. Source: textbook; limits see `DOUBT_*`.
    """
    level = volts
    if hertz is not None:
        if any(not 0 < f < math.inf for f in hertz):
            raise ValueError(f"frequencies {hertz}: each must be above zero; read V, then Hz")
        level = (volts[0] / hertz[0], volts[1] / hertz[1], volts[2] / hertz[2])
    if doubt is None:
        doubt = DOUBT_AT_ONE_SPEED if hertz is None else DOUBT_BY_FREQUENCY
    percent = unbalance(*level)
    odd, missing, meaning = _read_balance(level, percent, doubt)
    return Balance(level, percent, doubt, odd, missing, meaning)


def turns_missing(unbalance_percent: float) -> float:
    """Share of the turns short in one phase of a wye, by the unbalance of its volts, 0 to 1.

    Phase volts (1 - f), 1, 1 at 120 degrees give pairs sqrt(1 + (1 - f) + (1 - f)^2) twice and
    sqrt(3); current in the shorted turns, which weakens it further, is left out, so this is the
    most that can be missing. Raises ValueError outside 0 to 42 %. Source: textbook (phasors).
    """
    worst = _wye_unbalance(1.0)
    if not 0 <= unbalance_percent <= worst:
        raise ValueError(f"{unbalance_percent:g} % is outside 0 to {worst:.1f} % for one phase")
    return float(brentq(lambda f: _wye_unbalance(f) - unbalance_percent, 0.0, 1.0))


@dataclass(frozen=True, slots=True)
class Braking:
    """Drag of a motor with leads joined, N m: mean over a turn, and between which it pulses."""

    mean: float
    least: float
    most: float


def braking(rpm_per_volt: float, pair_ohms: float, rpm: float, leads: Literal[2, 3]) -> Braking:
    """Drag when two or all three leads are joined and the shaft is turned at `rpm`.

    With three: K^2 w / R, steady; with two it pulses between nothing and the same figure, half of
    it on average (K in V s/rad line peak, R one pair in ohms, w in rad/s; sine volts). So three
    joined feel twice as stiff as two, and the three ways of joining two feel alike. True while
    w_electric x L is small against R, which is hand speed; above it the drag falls again.
    Raises ValueError for ohms not above zero or rpm outside 0 to 1000. Source: textbook, worked
    out from the power lost in R.
    """
    if not 0 < pair_ohms < math.inf:
        raise ValueError(f"{pair_ohms} ohm: a pair has ohms above zero and is not open")
    if not 0 <= rpm <= 1000:
        raise ValueError(f"{rpm:g} rpm is outside 0 to 1000: this holds at hand speed only")
    if leads not in (2, 3):
        raise ValueError(f"{leads} leads joined: 2 or 3")
    most = back_volts(rpm_per_volt) ** 2 * (2 * math.pi * rpm / 60) / pair_ohms
    return Braking(most, most, most) if leads == 3 else Braking(most / 2, 0.0, most)


def pair_ohms(
    phase_ohms: float, connection: Connection, phase_c: float = 20.0, wanted_c: float = 20.0
) -> float:
    """Ohms between two leads at `wanted_c` degC of a winding with `phase_ohms` per phase at
    `phase_c`: two in series (wye) or one beside two (delta, 2/3). Copper.

    Raises ValueError as `at_temperature`, and for another connection. Source: textbook.
    """
    phase = at_temperature(phase_ohms, phase_c, wanted_c, COPPER)
    return 2 * phase if _connection(connection) == "wye" else parallel(phase, 2 * phase)


def phases_from_pairs(ab: float, bc: float, ca: float, connection: Connection) -> Three:
    """Ohms of the phases from the three pair readings: legs a, b, c of a wye, or sides ab, bc, ca
    of a delta. In a delta one side 3 % off moves its pair by 2 % and the others by 0.5 %.

    Raises ValueError as `resistance.wye_from_terminals`. Source: textbook (Kennelly 1899).
    """
    legs = wye_from_terminals(ab, bc, ca)
    return legs if _connection(connection) == "wye" else wye_to_delta(*legs)


def _read_balance(level: Three, percent: float, doubt: float) -> tuple[str, float, str]:
    high = max(level)
    dead = [pair for pair, v in zip(("ab", "bc", "ca"), level, strict=True) if v < DEAD * high]
    if len(dead) == 2:
        lead = (set(dead[0]) & set(dead[1])).pop()
        words = "its lead, plug or joint is open, or the star point is; check with ohms"
        return lead, 0.0, f"two pairs dead, both at lead {lead}: {words}"
    if dead:
        return (
            dead[0],
            0.0,
            f"pair {dead[0]} dead, the others not: no single fault does this;"
            " a probe was off: read it again",
        )
    if percent <= doubt:
        return "", 0.0, f"alike within {doubt:g} %: no turns missing that this can see"
    order = sorted(range(3), key=lambda i: level[i])
    low_gap, high_gap = level[order[1]] - level[order[0]], level[order[2]] - level[order[1]]
    if high_gap >= 2 * low_gap:
        lead = "cab"[order[2]]
        share = turns_missing(min(percent, _wye_unbalance(1.0)))
        words = f"phase {lead} is weak: in a wye up to {share:.0%} of its turns are short"
        return lead, share, f"two pairs low, both at lead {lead}: {words}; it will drag and warm"
    if low_gap >= 2 * high_gap:
        pair = ("ab", "bc", "ca")[order[0]]
        words = "turns short in that side of a delta, or one bad reading: take the pairs again"
        return pair, 0.0, f"pair {pair} low alone: {words}"
    return "", 0.0, "all three differ: the speed or the probes moved; read V and Hz of each again"


def _wye_unbalance(missing: float) -> float:
    left = 1 - missing
    low = math.sqrt(1 + left + left * left)
    return unbalance(low, low, math.sqrt(3.0))


def _pairs(pole_pairs: int) -> int:
    if pole_pairs != int(pole_pairs) or not 1 <= pole_pairs <= 60:
        raise ValueError(f"{pole_pairs} pole pairs: a whole number from 1 to 60 (magnets / 2)")
    return int(pole_pairs)


def _constant(rpm_per_volt: float) -> float:
    if not 1 <= rpm_per_volt <= 20_000:
        raise ValueError(f"{rpm_per_volt:g} rpm per volt is outside 1 to 20000")
    return rpm_per_volt


def _volts(volts: float) -> float:
    if not 0 <= volts < math.inf:
        raise ValueError(f"{volts:g} V: the volts must be zero or more")
    return volts


def _shape(shape: Shape) -> Shape:
    if shape not in PEAK_PER_RMS:
        raise ValueError(f"shape {shape!r}: trapezoid (most tool motors) or sine")
    return shape


def _connection(connection: Connection) -> Connection:
    if connection not in ("wye", "delta"):
        raise ValueError(f"connection {connection!r}: wye or delta")
    return connection
