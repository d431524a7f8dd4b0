"""The sums of engines, air and a shop's own readings, by name."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Final

from knowngood.calculate import air, cylinder, tolerance, verdict
from knowngood.calculate.sums import Given, Input, Output, Sum, sentence

PSI: Final = 6894.757293168361
_ALTITUDE: Final = Input("altitude", "length", "altitude", "2000 ft", "0 m")
_LITRES: Final[Mapping[str, float]] = {
    "L": 1.0,
    "mL": 1e-3,
    "US gal": 3.785411784,
    "gal": 3.785411784,
    "US fl oz": 0.0295735295625,
}
_CC: Final[Mapping[str, float]] = {"cm3": 1.0, "cc": 1.0, "mL": 1.0, "in3": 16.387064}
_SHARE: Final = Input("share", "percent", "share of good ones to hold", "95 %", "95 %")


def _compression(given: Given) -> list[float]:
    low, high = cylinder.compression_band(given["ratio"], given["altitude"])
    return [low / PSI, high / PSI]


def _tolerance(given: Given) -> list[float]:
    found = tolerance.tolerance_interval(
        given["values"], given["share"] / 100, given["confidence"] / 100, given["side"]
    )
    ends = [math.nan if end is None else end for end in (found.low, found.high)]
    return [*ends, found.mean, found.s, found.k]


def _say_tolerance(given: Given, _found: Sequence[float]) -> list[str]:
    flagged = tolerance.outliers(given["values"])
    said = [
        f"With {given['confidence']:g} % confidence at least {given['share']:g} % of good ones lie"
        " within."
    ]
    if flagged:
        places = ", ".join(f"number {i + 1}" for i in sorted(flagged))
        said.append(f"Far off, but counted: {places}. A slip, or a machine that was not good?")
    return said


def _next(given: Given) -> list[float]:
    prior = tolerance.Prior(given["mean"], given["spread"], given["worth"])
    found = tolerance.predictive(prior, given["values"] or ())
    low, high = found.interval(given["share"] / 100)
    return [low, high, found.centre]


def _within(given: Given) -> verdict.Conformity:
    return verdict.conformity(given["value"], given["value_u"], given["low"], given["high"])


def _held(given: Given) -> list[float]:
    found = _within(given)
    return [100 * found.p_good, found.guard, 100 * found.consumer_risk_specific]


def _leak(given: Given) -> list[float]:
    leak = cylinder.leak_down(given["supply"], given["held"]).percent
    high = given["altitude"]
    if high is None:
        return [leak, math.nan]
    return [leak, cylinder.leak_at_sea_level(given["supply"], given["held"], high)]


def _say_leak(given: Given, _found: Sequence[float]) -> list[str]:
    found = cylinder.leak_down(given["supply"], given["held"])
    limits = f"good to {cylinder.LEAKS.good:g} %, bad above {cylinder.LEAKS.bad:g} %"
    return [f"{sentence(found.verdict)[:-1]} ({limits}; settings).", sentence(found.listen)]


def _coil(given: Given) -> cylinder.CoilOhms:
    return cylinder.coil_ohms(given["ohms"], given["stated"], given["at"], given["limit"])


def _coil_results(given: Given) -> list[float]:
    found = _coil(given)
    return [found.at_20, found.percent if math.isfinite(found.percent) else math.nan]


def _any(name: str, what: str, example: str, default: str | None = None) -> Input:
    return Input(name, "any", what, example, default, shown=default is not None)


ENGINE: Final[tuple[Sum, ...]] = (
    Sum(
        "compression",
        "What a compression gauge should show",
        (
            Input(
                "ratio",
                "number",
                "compression ratio",
                "8:1",
                unit=":1",
                units={":1": 1.0, "": 1.0, "to 1": 1.0},
            ),
            _ALTITUDE,
        ),
        (Output("slow and cold (n 1.2)", "psi"), Output("no heat lost (n 1.4)", "psi")),
        _compression,
        "gauge = air x (ratio^n - 1)",
        "textbook; air pressure by ISO 2533",
        "with a compression release, a late-closing valve, a long hose: compare, or use leak-down",
        caution="Kill lead grounded, hands and clothes clear of the starter.",
    ),
    Sum(
        "compression-altitude",
        "A compression figure for sea level, at this altitude",
        (
            Input("stated", "pressure", "figure for sea level", "120 psi"),
            Input("altitude", "length", "altitude", "2000 ft"),
        ),
        (Output("to expect", "pressure", like="stated"), Output("factor", "number")),
        lambda g: [
            cylinder.at_altitude(g["stated"], g["altitude"]),
            cylinder.pressure_ratio(g["altitude"]),
        ],
        "x air pressure there / at sea level",
        "ISO 2533; a table with the density ratio (0.943 at 2000 ft) is widely copied and too high",
        "where the figure was stated for another air than that of sea level",
        spread=lambda _g, found: [0.03 * found[0], 0.03 * found[1]],
        spread_says="the weather, 3 % (common practice)",
    ),
    Sum(
        "compression-ratio",
        "Compression ratio from volumes",
        (
            Input("swept", "number", "swept volume", "140 cm3", unit="cm3", units=_CC, most=5000.0),
            Input(
                "clearance",
                "number",
                "volume above the piston",
                "20 cm3",
                unit="cm3",
                units=_CC,
                most=5000.0,
            ),
        ),
        (Output("to 1", "number"),),
        lambda g: [cylinder.compression_ratio(g["swept"], g["clearance"])],
        "(swept + clearance) / clearance",
        "textbook",
        "on a two-stroke unless the stroke is counted above the exhaust port",
    ),
    Sum(
        "leak-down",
        "Leak-down of a cylinder",
        (
            Input("supply", "pressure", "gauge before the orifice", "100 psi"),
            Input("held", "pressure", "gauge at the cylinder", "82 psi"),
            Input("altitude", "length", "altitude", "5000 ft", ""),
        ),
        (Output("leak", "percent"), Output("the same leak at sea level", "percent")),
        _leak,
        "100 x (supply - held) / supply; at sea level: same areas of leak and orifice",
        "definition; flow of air through an orifice by St Venant and Wantzel (textbook), air"
        " pressure by ISO 2533; limits common practice, sources disagree (10 to 30 %)",
        "between testers with different orifices, and off top dead centre",
        _say_leak,
        caution="Blade off and the crank held: the air swings it.",
    ),
    Sum(
        "fuel-mix",
        "Oil for a two-stroke mix",
        (
            Input("fuel", "number", "fuel", "1 gal", unit="L", units=_LITRES, most=1000.0),
            Input(
                "ratio",
                "number",
                "parts of fuel to one of oil",
                "50:1",
                unit=":1",
                units={":1": 1.0, "": 1.0, "to 1": 1.0},
            ),
        ),
        (Output("oil", "mL"),),
        lambda g: [1000 * cylinder.oil_for(g["fuel"], g["ratio"])],
        "fuel / ratio; gal is the US gallon",
        "definition",
        "where the maker states another ratio for the oil used",
    ),
    Sum(
        "coil-ohms",
        "Ohms of an ignition or solenoid coil against the maker's figure",
        (
            Input("ohms", "resistance", "ohms as read", "3.4 ohm", open=True, most=1e6),
            Input("stated", "resistance", "maker's figure at 20 degC", "3.2 ohm", most=1e6),
            Input("at", "temperature", "temperature of the coil", "20 degC", "20 degC"),
            Input("limit", "percent", "departure allowed", "15 %", "15 %"),
        ),
        (Output("at 20 degC", "resistance", like="ohms"), Output("departure", "percent")),
        _coil_results,
        "R x 254.5 / (234.5 + T), against the figure",
        "IEEE 118, copper; 15 % common practice where the maker gives none",
        "for a few shorted turns, leaks at high volts, and coils with electronics inside",
        lambda g, _: [sentence(_coil(g).verdict)],
    ),
    Sum(
        "air-density",
        "Density of moist air",
        (
            Input("at", "temperature", "temperature", "20 degC"),
            Input("pressure", "pressure", "absolute pressure", "1013.25 hPa", "1013.25 hPa"),
            Input("humidity", "percent", "relative humidity", "50 %", "50 %"),
        ),
        (Output("density", "kg/m3"),),
        lambda g: [air.density(g["at"], g["pressure"], g["humidity"])],
        "CIPM-2007",
        "Picard et al. 2008 (coefficients from memory)",
        "outside -10 to 45 degC, and with pressure corrected to sea level",
    ),
    Sum(
        "blower-jet",
        "Thrust, flow and power of a blower's jet",
        (
            Input(
                "speed",
                "number",
                "mean air speed",
                "60 m/s",
                unit="m/s",
                units={"m/s": 1.0, "km/h": 1 / 3.6, "mph": 0.44704},
            ),
            Input("nozzle", "length", "diameter of the nozzle", "90 mm", least=0.0, most=1.0),
            Input(
                "density",
                "number",
                "density of the air",
                "1.2 kg/m3",
                "1.2 kg/m3",
                least=0.5,
                most=2.0,
                unit="kg/m3",
                units={"kg/m3": 1.0, "": 1.0},
            ),
        ),
        (Output("thrust", "N"), Output("flow", "m3/s"), Output("power in the air", "power")),
        lambda g: air.jet(g["speed"], g["nozzle"], g["density"]),
        "rho A v^2; A v; rho A v^3 / 2",
        "textbook, momentum",
        "with the speed of one point: the middle is 10 to 20 % above the mean (common practice)",
    ),
    Sum(
        "fan-speed",
        "What a fan does at another speed",
        (
            Input("rpm", "speed", "new speed", "21000 rpm"),
            Input("from", "speed", "old speed", "23400 rpm"),
        ),
        (Output("flow x", "number"), Output("pressure x", "number"), Output("power x", "number")),
        lambda g: air.fan_at(g["rpm"] / g["from"] if g["from"] else math.inf),
        "n, n^2, n^3",
        "fan laws, textbook",
        "with other openings or another air density",
    ),
    Sum(
        "tolerance",
        "Limits for good ones from a shop's own readings",
        (
            Input(
                "values",
                "any",
                "readings of good ones, of different machines",
                "12.1 12.3 12.2 12.4 12.0 12.2 V",
                many=True,
            ),
            _SHARE,
            Input("confidence", "percent", "confidence", "95 %", "95 %"),
            Input(
                "side", "word", "which limits", "upper", "both", choices=("both", "upper", "lower")
            ),
        ),
        (
            Output("lower limit", "=values"),
            Output("upper limit", "=values"),
            Output("mean", "=values"),
            Output("standard deviation", "=values"),
            Output("factor k", "number"),
        ),
        _tolerance,
        "mean +- k s, k exact (noncentral chi-square; one side noncentral t)",
        "ISO 16269-6; outliers by Rosner 1983",
        "for readings that are not normal, two models mixed, one machine read many times",
        _say_tolerance,
    ),
    Sum(
        "next-reading",
        "Where the next good one should read, from a first belief and a shop's readings",
        (
            _any("mean", "what is believed first", "12.2 V"),
            Input("spread", "any", "standard deviation believed first", "0.3 V", width=True),
            Input("values", "any", "readings since", "12.1 12.4 12.3 V", "", many=True, shown=True),
            Input("worth", "number", "readings the belief is worth", "1", "1"),
            _SHARE,
        ),
        (Output("from", "=mean"), Output("to", "=mean"), Output("most likely", "=mean")),
        _next,
        "Student t from a normal-inverse-gamma belief (spread worth 3 readings)",
        "Gelman et al., Bayesian Data Analysis, 3.3 (from memory)",
        "for readings that are not normal; a belief that is far off pulls for its worth",
    ),
    Sum(
        "within-limits",
        "Good, bad or can't tell: one reading with its ± against limits",
        (
            _any("value", "reading with its ±", "13.6 V ± 0.3 V"),
            _any("low", "lower limit", "12.5 V", ""),
            _any("high", "upper limit", "16.3 V", ""),
        ),
        (
            Output("chance that it is within", "percent"),
            Output("guard band at a limit", "=value"),
            Output("risk of taking it as good", "percent"),
        ),
        _held,
        "normal about the value, u = ± / sqrt(3); good or bad from 95 %; guard band 1.645 u",
        "JCGM 106:2012, 7.3; 8.3.2; 9.3.1",
        "where the reading is wrong by more than its ±: wrong range, wrong points",
        lambda g, _: [sentence(_within(g).verdict)],
        doubt="used",
    ),
)
