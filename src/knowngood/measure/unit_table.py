"""The units the bench knows: dimensions, base units, and how people spell them."""

from __future__ import annotations

from typing import Final, Literal

Quantity = Literal[
    "volts",
    "ac_volts",
    "ohms",
    "amps",
    "diode",
    "hertz",
    "rpm",
    "pressure",
    "temperature",
    "capacitance",
    "seconds",
    "torque",
    "percent",
    "yes_no",
]

Dimension = Literal[
    "voltage",
    "current",
    "resistance",
    "frequency",
    "speed",
    "pressure",
    "temperature",
    "capacitance",
    "time",
    "torque",
    "percent",
    "energy",
    "power",
    "charge",
    "length",
    "area",
    "number",
]

BASE_UNIT: Final[dict[Dimension, str]] = {
    "voltage": "V",
    "current": "A",
    "resistance": "ohm",
    "frequency": "Hz",
    "speed": "rpm",
    "pressure": "Pa",
    "temperature": "degC",
    "capacitance": "F",
    "time": "s",
    "torque": "N m",
    "percent": "%",
    "energy": "J",
    "power": "W",
    "charge": "Ah",
    "length": "m",
    "area": "mm2",
    "number": "",
}

DIMENSION_OF: Final[dict[Quantity, Dimension]] = {
    "volts": "voltage",
    "ac_volts": "voltage",
    "ohms": "resistance",
    "amps": "current",
    "diode": "voltage",
    "hertz": "frequency",
    "rpm": "speed",
    "pressure": "pressure",
    "temperature": "temperature",
    "capacitance": "capacitance",
    "seconds": "time",
    "torque": "torque",
    "percent": "percent",
    "yes_no": "number",
}

EXAMPLE: Final[dict[Dimension, str]] = {
    "voltage": "12.4 V",
    "current": "1.8 A",
    "resistance": "0.3 ohm",
    "frequency": "80 Hz",
    "speed": "1200 rpm",
    "pressure": "90 psi",
    "temperature": "35 degC",
    "capacitance": "470 uF",
    "time": "3 s",
    "torque": "1.5 N m",
    "percent": "40 %",
    "energy": "1.8 J",
    "power": "25 W",
    "charge": "5 Ah",
    "length": "1.5 m",
    "area": "2.5 mm2",
    "number": "3",
}

NAME: Final[dict[Dimension, str]] = {
    "voltage": "volts",
    "current": "amps",
    "resistance": "resistance",
    "frequency": "a frequency",
    "speed": "a shaft speed",
    "pressure": "pressure",
    "temperature": "a temperature",
    "capacitance": "capacitance",
    "time": "a time",
    "torque": "torque",
    "percent": "a percentage",
    "energy": "energy",
    "power": "power",
    "charge": "a charge in Ah",
    "length": "a length",
    "area": "a wire area",
    "number": "a plain number",
}

PREFIX: Final = {"p": -12, "n": -9, "u": -6, "m": -3, "k": 3, "K": 3, "M": 6}
PSI: Final = "6894.757293168361"
SPELLINGS: Final[dict[Dimension, list[tuple[str, str]]]] = {
    "voltage": [
        ("V VDC Vdc VAC Vac volt volts", "1"),
        ("mV mVDC mVdc mVAC mVac millivolt millivolts", "1e-3"),
        ("uV microvolt microvolts", "1e-6"),
        ("kV kilovolt kilovolts", "1e3"),
    ],
    "current": [
        ("A ADC AAC amp amps ampere amperes", "1"),
        ("mA milliamp milliamps", "1e-3"),
        ("uA microamp microamps", "1e-6"),
        ("nA nanoamp nanoamps", "1e-9"),
        ("kA", "1e3"),
    ],
    "resistance": [
        ("ohm ohms R Ω ω", "1"),
        ("mohm mohms mΩ mω mR milliohm milliohms", "1e-3"),
        ("uohm uΩ microohm microohms", "1e-6"),
        ("kohm kohms kΩ kω Kohm KΩ kR kilohm kilohms kiloohm kiloohms", "1e3"),
        (
            "Mohm Mohms MOhm MOhms MOHM MOHMS MΩ Mω MR Meg meg megohm megohms megaohm megaohms",
            "1e6",
        ),
    ],
    "frequency": [("Hz hertz cps", "1"), ("kHz kilohertz", "1e3"), ("MHz megahertz", "1e6")],
    "speed": [("rpm r/min rev/min 1/min", "1"), ("krpm", "1e3")],
    "pressure": [
        ("Pa pascal pascals", "1"),
        ("hPa mbar", "1e2"),
        ("kPa", "1e3"),
        ("MPa", "1e6"),
        ("bar bars", "1e5"),
        ("psi psig", PSI),
        ("inHg", "3386.388640341"),
    ],
    "temperature": [
        ("degC °C celsius degreesC degreesCelsius", "1"),
        ("degF °F fahrenheit degreesF degreesFahrenheit", "F"),
    ],
    "capacitance": [
        ("F farad farads", "1"),
        ("mF", "1e-3"),
        ("uF mfd microfarad microfarads", "1e-6"),
        ("nF", "1e-9"),
        ("pF", "1e-12"),
    ],
    "time": [
        ("s sec secs second seconds", "1"),
        ("ms", "1e-3"),
        ("us", "1e-6"),
        ("min mins minute minutes", "60"),
        ("h hr hrs hour hours", "3600"),
    ],
    "torque": [
        ("Nm newtonmetre newtonmetres newtonmeter newtonmeters", "1"),
        ("inlb inlbs inlbf lbin lbfin", "0.1129848290276167"),
        ("ftlb ftlbs ftlbf lbft lbfft", "1.3558179483314004"),
    ],
    "percent": [("% percent pct", "1")],
    "energy": [("J joule joules", "1"), ("mJ", "1e-3"), ("kJ", "1e3"), ("Wh", "3600")],
    "power": [("W watt watts", "1"), ("mW", "1e-3"), ("kW", "1e3")],
    "charge": [("Ah amphours amphour", "1"), ("mAh", "1e-3")],
    "length": [
        ("m metre metres meter meters", "1"),
        ("cm", "1e-2"),
        ("mm", "1e-3"),
        ("ft foot feet", "0.3048"),
        ("in inch inches", "0.0254"),
    ],
    "area": [("mm2 sqmm mm^2", "1")],
}
