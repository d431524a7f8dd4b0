"""The sums of motors, Hall sensors and transistor bridges, by name."""

from __future__ import annotations

import math
from typing import Final

from knowngood.calculate import motor, sensors
from knowngood.calculate.sensor_sums import SENSORS
from knowngood.calculate.sums import Given, Input, Output, Sum, sentence

_PER_VOLT: Final = Input(
    "constant",
    "number",
    "speed constant, rpm per line peak volt",
    "480 rpm/V",
    unit="rpm/V",
    units={"rpm/V": 1.0, "": 1.0, "KV": 1.0},
)
_SHAPE: Final = Input(
    "shape", "word", "shape of its volts", "sine", "trapezoid", choices=("trapezoid", "sine")
)
_RPM: Final = Input("rpm", "speed", "shaft speed", "1200 rpm")
_PAIRS: Final = Input("pole-pairs", "number", "magnets / 2", "4", "")
_METER: Final = Input(
    "meter", "word", "kind of meter", "averaging", "true-rms", choices=("true-rms", "averaging")
)
_BANDWIDTH: Final = Input("bandwidth", "frequency", "where the meter has lost 3 dB", "4.9 kHz", "")
SAME_MOMENT: Final = 0.05
"""Share by which a speed may be off the one of its frequency, as for `motor.pole_pairs_from`."""
_POLE_SAYS: Final = "half of the correction for the meter's bandwidth"
_CLAMPED: Final = "Motor clamped, impeller or blade off, controller unplugged; nothing live."


def _constant(given: Given) -> list[float]:
    true_rms = given["meter"] == "true-rms"
    hertz = given["hertz"]
    if given["bandwidth"] is not None and hertz is None:
        raise ValueError('bandwidth needs the frequency too, such as hertz="80 Hz"')
    rms = motor.true_volts(
        given["volts"],
        hertz or 0.0,
        shape=given["shape"],
        true_rms=true_rms,
        bandwidth=given["bandwidth"],
    )
    rpm = _speed_of(given)
    found = motor.speed_constant(rms, rpm, given["shape"])
    return [found, 1e3 * motor.back_volts(found), rms, math.nan if given["rpm"] else rpm]


def _speed_of(given: Given) -> float:
    """rpm as given, else by frequency and pole pairs; both must tell of one moment."""
    rpm, hertz, pairs = given["rpm"], given["hertz"], given["pole-pairs"]
    if hertz is None or pairs is None:
        if rpm is None:
            raise ValueError(
                'the speed is missing: rpm="1200 rpm", or hertz="80 Hz" with pole-pairs=4'
            )
        return float(rpm)
    by_hertz = motor.shaft_rpm(hertz, pairs)
    if rpm is None:
        return by_hertz
    if abs(rpm - by_hertz) > SAME_MOMENT * by_hertz:
        raise ValueError(
            f"{hertz:g} Hz with {pairs:g} pole pairs is {by_hertz:.4g} rpm, not {rpm:g}: leave"
            " rpm away, or read both at one time"
        )
    return float(rpm)


def _spun(given: Given) -> list[float]:
    rms = motor.spun_volts(given["constant"], given["rpm"], given["shape"])
    pairs, bandwidth = given["pole-pairs"], given["bandwidth"]
    if bandwidth is not None and pairs is None:
        raise ValueError("bandwidth needs the pole pairs too, such as pole-pairs=4")
    hertz = math.nan if pairs is None else motor.electrical_hertz(given["rpm"], pairs)
    shown = motor.shown_volts(
        rms,
        0.0 if pairs is None else hertz,
        shape=given["shape"],
        true_rms=given["meter"] == "true-rms",
        bandwidth=bandwidth,
    )
    return [rms, shown, hertz]


def _speed(given: Given) -> list[float]:
    rpm = motor.no_load_rpm(given["constant"], given["volts"])
    pairs = given["pole-pairs"]
    return [rpm, math.nan if pairs is None else motor.electrical_hertz(rpm, pairs)]


def _balance(given: Given) -> motor.Balance:
    hertz = given["hertz"]
    if hertz is not None and len(hertz) != 3:
        raise ValueError(f"{len(hertz)} frequencies: three, in the order ab bc ca")
    return motor.balance((given["ab"], given["bc"], given["ca"]), hertz)


def _braking(given: Given) -> list[float]:
    two = motor.braking(given["constant"], given["pair"], given["rpm"], 2)
    return [
        two.mean,
        two.most,
        motor.braking(given["constant"], given["pair"], given["rpm"], 3).mean,
    ]


def _bridge(given: Given) -> list[str]:
    def six(plus: str, minus: str) -> dict[tuple[sensors.Phase, sensors.Rail], float]:
        found: dict[tuple[sensors.Phase, sensors.Rail], float] = {}
        for rail, name in zip(sensors.RAILS, (plus, minus), strict=True):
            if len(given[name]) != 3:
                raise ValueError(f"{name}: {len(given[name])} readings; three, of u, v and w")
            found |= {(p, rail): v for p, v in zip(sensors.PHASES, given[name], strict=True)}
        return found

    swapped = (given["plus-swapped"] is None, given["minus-swapped"] is None)
    if swapped[0] != swapped[1]:
        raise ValueError("give both plus-swapped and minus-swapped, or neither")
    reverse = None if swapped[0] else six("plus-swapped", "minus-swapped")
    return [sentence(sensors.bridge(six("plus", "minus"), reverse).words)]


def _pole_of_meter(given: Given, hertz: float | None) -> float:
    """Half of the correction for the bandwidth, as a share of the corrected volts."""
    if given["bandwidth"] is None or hertz is None:
        return 0.0
    return 0.5 * (1 - 1 / math.hypot(1.0, hertz / given["bandwidth"]))


def _reading(name: str, what: str, example: str, default: str | None = None) -> Input:
    # Below zero is let through: what is charged there is said by the sum itself.
    return Input(name, "voltage", what, example, default, many=True, open=True, least=-1000.0)


MOTOR: Final[tuple[Sum, ...]] = (
    Sum(
        "motor-constant",
        "Speed constant of a motor from the volts it gives when spun",
        (
            Input("volts", "voltage", "AC volts of one pair, as shown", "2.1 V"),
            Input(
                "rpm",
                "speed",
                "shaft speed, or give hertz and pole-pairs",
                "1200 rpm",
                "",
                shown=True,
            ),
            _SHAPE,
            Input("hertz", "frequency", "frequency of those volts", "80 Hz", ""),
            _PAIRS,
            _METER,
            _BANDWIDTH,
        ),
        (
            Output("speed constant", "rpm/V"),
            Output("back volts", "mV s/rad"),
            Output("rms volts", "voltage"),
            Output("shaft speed", "speed"),
        ),
        _constant,
        "constant = rpm / (peak per rms x V); peak per rms 1.3416 trapezoid, 1.4142 sine;"
        " rpm = 60 x Hz / pole pairs",
        "textbook; a trapezoid flat over 120 degrees",
        "under 300 rpm, with anything connected; the wrong shape is 5.1 % off",
        caution=_CLAMPED,
        spread=lambda g, found: [
            *(_pole_of_meter(g, g["hertz"]) * v for v in found[:3]),
            0.0,
        ],
        spread_says=_POLE_SAYS,
    ),
    Sum(
        "motor-speed",
        "No-load speed of a motor on a pack",
        (
            _PER_VOLT,
            Input("volts", "voltage", "volts of the pack", "40 V"),
            _PAIRS,
        ),
        (Output("no-load speed", "speed"), Output("at the leads", "frequency")),
        _speed,
        "rpm = constant x volts; Hz = pole pairs x rpm / 60",
        "textbook, six-step drive at full duty",
        "under load (2 to 10 % lower even without, common practice), with advanced timing (higher)",
    ),
    Sum(
        "motor-spun",
        "Volts to expect of a spun motor",
        (_PER_VOLT, _RPM, _SHAPE, _METER, _PAIRS, _BANDWIDTH),
        (
            Output("rms volts of each pair", "voltage"),
            Output("shown by the meter", "voltage"),
            Output("at the leads", "frequency"),
        ),
        _spun,
        "V = rpm / (constant x peak per rms); shown: averaging x 0.9935 of a trapezoid, bandwidth"
        " / sqrt(1 + (f / bandwidth)^2)",
        "textbook; the pole of a meter is a fit",
        "under 300 rpm; hot magnets give 0.1 % per K less (common practice)",
        caution=_CLAMPED,
        spread=lambda g, found: [0.0, _pole_of_meter(g, found[2]) * found[1], 0.0],
        spread_says=_POLE_SAYS,
    ),
    Sum(
        "shaft-speed",
        "Speed of a motor's shaft from the frequency at its leads",
        (
            Input("hertz", "frequency", "frequency at the leads", "80 Hz"),
            Input("pole-pairs", "number", "magnets / 2", "4"),
        ),
        (Output("shaft speed", "speed"),),
        lambda g: [motor.shaft_rpm(g["hertz"], g["pole-pairs"])],
        "rpm = 60 x Hz / pole pairs",
        "textbook",
        "behind a gear, where shaft and rotor differ; with the magnets counted in place of the"
        " pairs it is half",
    ),
    Sum(
        "pole-pairs",
        "Pole pairs of a motor from frequency and speed",
        (Input("hertz", "frequency", "frequency at the leads", "80 Hz"), _RPM),
        (Output("pole pairs", "number"),),
        lambda g: [motor.pole_pairs_from(g["hertz"], g["rpm"])],
        "pole pairs = 60 x Hz / rpm",
        "textbook",
        "when the two were not read at one time",
        doubt="refused",
    ),
    Sum(
        "electrical-frequency",
        "Frequency at the leads of a motor",
        (_RPM, Input("pole-pairs", "number", "magnets / 2", "4")),
        (Output("frequency", "frequency"),),
        lambda g: [motor.electrical_hertz(g["rpm"], g["pole-pairs"])],
        "Hz = pole pairs x rpm / 60",
        "textbook",
        "behind a gear, where shaft and rotor differ",
    ),
    Sum(
        "motor-balance",
        "Balance of the three pairs of a spun motor, and what it means",
        (
            Input("ab", "voltage", "AC volts of the first pair", "2.05 V"),
            Input("bc", "voltage", "second pair", "2.11 V"),
            Input("ca", "voltage", "third pair", "2.06 V"),
            Input(
                "hertz",
                "frequency",
                "their three frequencies",
                "80 82 80 Hz",
                "",
                many=True,
                shown=True,
            ),
        ),
        (Output("unbalance", "percent"),),
        lambda g: [_balance(g).unbalance],
        "100 x largest departure from the average / average, each V divided by its own Hz",
        "NEMA MG 1, definition of voltage unbalance; limits computed or common practice",
        "for joints of a few ohms and a delta with one side open: both read alike here, ohms tell",
        lambda g, _: [sentence(_balance(g).meaning)],
        caution=_CLAMPED,
    ),
    Sum(
        "motor-braking",
        "Drag of a motor with two or three leads joined",
        (
            _PER_VOLT,
            Input("pair", "resistance", "ohms of a pair, with leads", "0.1 ohm"),
            Input("rpm", "speed", "how fast it is turned", "60 rpm"),
        ),
        (
            Output("two joined, mean", "torque"),
            Output("two joined, at most", "torque"),
            Output("three joined", "torque"),
        ),
        _braking,
        "three: K^2 w / R; two: half of it on average, pulsing",
        "textbook, power lost in R; sine volts",
        "above hand speed, and with clips whose ohms are like the winding's",
        caution="Pack out, controller unplugged, blade or impeller off.",
    ),
    Sum(
        "hall-codes",
        "What a run of Hall codes says",
        (Input("codes", "words", "codes in order, turned slowly", "101 100 110 010 011 001 101"),),
        (),
        lambda _: [],
        "101 100 110 010 011 001; 000 and 111 never (sensors 120 degrees apart)",
        "application notes of controller makers",
        "with the phase leads connected to a controller",
        lambda g, _: [sentence(sensors.hall_sequence(g["codes"]).words)],
        caution="Phase leads unplugged, or a separate 5 V supply; never turn it by hand live.",
    ),
    Sum(
        "bridge-diodes",
        "Which transistor of the bridge is shorted, from diode readings",
        (
            _reading("plus", "u, v, w with red on the phase, black on B+", "0.48 0.02 0.47 V"),
            _reading("minus", "u, v, w with red on B-, black on the phase", "0.48 0.48 0.47 V"),
            _reading("plus-swapped", "the first three with probes swapped", "OL; 0.02 V; OL", ""),
            _reading("minus-swapped", "the second three swapped", "OL; OL; OL", ""),
        ),
        (),
        lambda _: [],
        "under 0.1 V both ways is a short; 0.3 to 0.9 V one way a diode; three within 0.05 V",
        "bench-meter manuals; alikeness common practice",
        "with the motor connected (one short shows on all three), and for gate drivers",
        lambda g, _: _bridge(g),
        caution="Pack out, capacitor discharged and measured, motor unplugged.",
    ),
    *SENSORS,
)
