"""Capacitors: what is stored, how long until it may be touched, the bleed resistor, the climb on a
diode or ohms range.

Always measure on the capacitor itself: behind an open fuse the terminals read 0 V while it is
charged. A discharged electrolytic comes back by some percent of what it held (its dielectric gives
it up late), so measure again before the hands go in.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Literal

METER_SAFE: Final = 1.0
"""Volts under which an ohms or diode range may be put across it (common practice)."""


@dataclass(frozen=True, slots=True)
class TouchLimits:
    """Volts that a dry hand may meet; a shop may set lower ones.

    Defaults: IEC 61010-1 and IEC 62368-1 (ES1), from memory. Wet hands: about half.
    """

    dc: float = 60.0
    peak: float = 42.4
    rms: float = 30.0

    def safe(self, volts: float, kind: Literal["dc", "peak", "rms"] = "dc") -> bool:
        """Whether `volts` is at or under the limit of its kind; the sign does not matter."""
        limit = {"dc": self.dc, "peak": self.peak, "rms": self.rms}.get(kind)
        if limit is None:
            raise ValueError(f"kind {kind!r}: dc, peak or rms")
        return abs(volts) <= limit


TOUCH: Final = TouchLimits()


def stored_energy(farads: float, volts: float) -> float:
    """Joules held: C V^2 / 2. Above about 0.25 J it burns a screwdriver's tip, above 10 J it can
    kill (common practice). Raises ValueError for farads not above zero. Source: textbook.
    """
    return _farads(farads) * _finite(volts) ** 2 / 2


def volts_after(seconds: float, volts: float, farads: float, ohms: float) -> float:
    """Volts left after `seconds` of bleeding through `ohms` (a resistor, or a meter's 10 Mohm):
    V exp(-t / RC).

    The part's own leakage makes it faster, a tolerance of -20 to +20 % slower or faster.
    Raises ValueError for a time below zero, farads or ohms not above zero. Source: textbook.
    """
    if not seconds >= 0:
        raise ValueError(f"{seconds:g} s: the time must be zero or more")
    return _finite(volts) * math.exp(-seconds / (_ohms(ohms) * _farads(farads)))


def seconds_to(volts_left: float, volts: float, farads: float, ohms: float) -> float:
    """Seconds of bleeding through `ohms` until `volts_left`: R C ln(V / V left), 0 if it is there.

    Raises ValueError unless both volts are above zero. Source and limits as `volts_after`.
    """
    if not volts_left > 0 or not _finite(volts) > 0:
        raise ValueError(
            f"from {volts:g} to {volts_left:g} V: both must be above zero;"
            f" it never quite reaches 0, so ask for {METER_SAFE:g} V"
        )
    return _ohms(ohms) * _farads(farads) * max(math.log(volts / volts_left), 0.0)


@dataclass(frozen=True, slots=True)
class Bleed:
    """A bleed: seconds to the touch limit and to where a meter's ohms range is safe, the power in
    the resistor at the first moment (W), the energy it takes (J), the current at first (A)."""

    to_touch: float
    to_meter: float
    first_watts: float
    joules: float
    first_amps: float


def bleed(volts: float, farads: float, ohms: float, limits: TouchLimits = TOUCH) -> Bleed:
    """What bleeding through `ohms` does; insulated clips, resistor in free air, measure after.

    1 kohm, 5 W suits packs up to 84 V (7 W at the first moment, half of it after 0.35 RC). Raises
    ValueError for volts, farads or ohms not above zero. Source: textbook.
    """
    return Bleed(
        seconds_to(limits.dc, volts, farads, ohms),
        seconds_to(METER_SAFE, volts, farads, ohms),
        volts**2 / ohms,
        stored_energy(farads, volts),
        volts / ohms,
    )


def bleed_resistor(volts: float, farads: float, seconds: float, left: float = METER_SAFE) -> float:
    """The most ohms that bring it from `volts` to `left` within `seconds`: t / (C ln(V / left)).
    Its first power is volts^2 / ohms.

    Raises ValueError if `left` is not under `volts` or the time not above zero. Source: textbook.
    """
    if not 0 < left < _finite(volts):
        raise ValueError(f"{left:g} V is not between 0 and {volts:g} V: nothing to bleed")
    if not 0 < seconds < math.inf:
        raise ValueError(f"{seconds:g} s: the time must be above zero")
    return seconds / (_farads(farads) * math.log(volts / left))


def climb(amps: float, farads: float) -> float:
    """Volts per second by which a diode or ohms range climbs across a capacitor: I / C, until the
    range's own limit. 1 mA into 1000 uF: 1 V/s.

    A short or a leak of 1 kohm stops the climb at 1 V. Raises ValueError for amps or farads not
    above zero. Source: textbook.
    """
    return _amps(amps) / _farads(farads)


def farads_from_climb(amps: float, volts_per_second: float) -> float:
    """Farads of what climbs by `volts_per_second` at a test current: I / (dV/dt); good to the
    meter's current, often 10 %. Raises ValueError unless both are above zero. Source: textbook."""
    if not 0 < volts_per_second < math.inf:
        raise ValueError(f"{volts_per_second:g} V/s: it must climb; steady means a short or a load")
    return _amps(amps) / volts_per_second


def _farads(farads: float) -> float:
    if not 0 < farads <= 100:
        raise ValueError(f"{farads:g} F is no capacitor on a bench; write it like 1000 uF")
    return farads


def _ohms(ohms: float) -> float:
    if not 0 < ohms < math.inf:
        raise ValueError(f"{ohms:g} ohm: must be above zero and not open, such as 1 kohm")
    return ohms


def _amps(amps: float) -> float:
    if not 0 < amps < math.inf:
        raise ValueError(f"{amps:g} A: the test current must be above zero, such as 1 mA")
    return amps


def _finite(volts: float) -> float:
    if not abs(volts) <= 1e6:
        raise ValueError(f"{volts:g} V is not a voltage of a bench")
    return volts
