"""Which keys a reading needs: the units of its quantity, and those that say something else."""

from __future__ import annotations

from typing import Any

from knowngood.machines.machine import Test
from knowngood.measure.units import BASE_UNIT, DIMENSION_OF

UNITS: dict[str, tuple[tuple[str, str, float], ...]] = {
    "volts": (("V", "V", 1.0), ("mV", "mV", 1e-3)),
    "ac_volts": (("V", "V", 1.0), ("mV", "mV", 1e-3)),
    "diode": (("V", "V", 1.0), ("mV", "mV", 1e-3)),
    "ohms": (("Ω", "ohm", 1.0), ("kΩ", "kohm", 1e3), ("MΩ", "Mohm", 1e6)),
    "amps": (("A", "A", 1.0), ("mA", "mA", 1e-3)),
    "hertz": (("Hz", "Hz", 1.0), ("kHz", "kHz", 1e3)),
    "rpm": (("rpm", "rpm", 1.0),),
    "pressure": (("psi", "psi", 6894.757293168361), ("bar", "bar", 1e5), ("kPa", "kPa", 1e3)),
    "temperature": (("°C", "degC", 1.0), ("°F", "degF", 0.0)),
    "capacitance": (("µF", "uF", 1e-6), ("nF", "nF", 1e-9)),
    "seconds": (("s", "s", 1.0), ("ms", "ms", 1e-3)),
    "torque": (("N m", "Nm", 1.0), ("in lb", "inlb", 0.1129848290276167)),
    "percent": (("%", "%", 1.0),),
    "yes_no": (),
}
"""Per quantity: sign on the key, as it is written in the reading, and its worth in base units.

A worth of 0 means that a plain factor does not do; such a reading waits for the server."""


def keys_of(test: Test) -> dict[str, Any]:
    """What the keypad shows for this test. `must`: a bare number needs its unit."""
    units = UNITS[test.quantity]
    bare = BASE_UNIT[DIMENSION_OF[test.quantity]]
    compared = bool(test.compare)  # several readings make one: the server works it out
    return {
        "answers": ["yes", "no"] if test.quantity == "yes_no" else [],
        "units": [{"sign": sign, "text": text, "worth": 0.0 if compared else worth}
                  for sign, text, worth in units],
        "bare": bare,
        "none_open": test.quantity == "ohms" and test.probe is not None
        and test.probe.write == "highest" and len(test.probe.pairs) > 1,
        "must": compared or test.quantity in ("pressure", "temperature", "capacitance", "torque"),
        "over": test.quantity in ("ohms", "diode", "volts", "amps", "capacitance"),
    }
