"""A meter on the circuit, and what its display shows.

volts   `meter_ohms` and `lead_ohms` in series from red to black; shown: volts across the meter.
amps    `through` an element (or one of its branches, "K1.coil"), whose path gains `meter_ohms`
        and `lead_ohms`; or a meter of these ohms from `red` to `black`.
ohms    the meter pushes `test_current` out of red, at most at `open_volts`; shown: volts over amps.
        So it reads far above open_volts / test_current, as a meter that ranges by itself.
diode   the same source; shown: volts, over range at `open_volts` or above `limit`.

Ohms and diode with an empty capacitor in the way: what is shown climbs, from the volts after
STEP seconds, at so much a second (`Climbing`), unless it is settled within VISIBLE seconds.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final, Literal

Read = Literal["volts", "ohms", "amps", "diode"]
READS: Final[tuple[Read, ...]] = ("volts", "ohms", "amps", "diode")

LIVE: Final = 1e-6
"""Volts between the points of an ohms or diode test that count as a live source."""
VISIBLE: Final = 0.3
"""Seconds: a display changes about three times a second (common practice)."""
SEEN: Final = 1e-3
"""Share of a reading that must still be to come for a climb to be seen."""
LEAST: Final = 1e-6
"""Volts that must be to come at the least: the last digit of a hand meter is 10 uV or more (common
practice)."""
STEP: Final = 1e-5
"""Seconds between the two looks at a charging capacitor."""

_LIMIT: Final[dict[str, float]] = {"ohms": 40e6, "diode": 2.0}
_METER: Final[dict[str, float]] = {"volts": 10e6}


@dataclass(frozen=True, slots=True)
class Probe:
    """Where a meter touches, and what kind of meter. Base units.

    `meter_ohms` None: 10 Mohm on volts, 0 on amps. `limit` None: 40 Mohm, 2 V on the diode range,
    none for volts and amps.
    """

    read: Read
    red: str = ""
    black: str = ""
    through: str = ""
    meter_ohms: float | None = None
    test_current: float = 1e-3
    open_volts: float = 3.0
    limit: float | None = None
    lead_ohms: float = 0.0

    @property
    def ohms(self) -> float:
        """Ohms of the meter itself, without leads."""
        return _METER.get(self.read, 0.0) if self.meter_ohms is None else self.meter_ohms

    @property
    def ends(self) -> float:
        """The reading above which the display shows OL."""
        return _LIMIT.get(self.read, float("inf")) if self.limit is None else self.limit


@dataclass(frozen=True, slots=True)
class Climbing:
    """A display that climbs while a capacitor charges: where it starts, how fast, where it ends.

    `start` and `per_second` in volts or ohms, as the range shows; `settles` None: over range.
    """

    start: float
    per_second: float
    settles: float | None
    unit: Literal["volts", "ohms"]


@dataclass(frozen=True, slots=True)
class NoReading:
    """A probe that cannot be taken as asked; `message` says why and what to do."""

    message: str


Shown = float | Literal["OL"] | Climbing | NoReading


def shown_json(shown: Shown) -> Any:
    """A reading for JSON: a number, "OL", or an object with `climbing` or `error`."""
    if isinstance(shown, Climbing):
        return {
            "climbing": True,
            f"{shown.unit} per second": shown.per_second,
            "from": shown.start,
            "settles": "OL" if shown.settles is None else shown.settles,
        }
    if isinstance(shown, NoReading):
        return {"error": shown.message}
    return shown
