"""The sums of wire, windings, capacitors and fuses, ready to be asked for by name."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

from knowngood.calculate import capacitor, fuse, resistance, wire
from knowngood.calculate.pack_sums import PACK
from knowngood.calculate.sums import Given, Input, Output, Sum

_CELSIUS: Final = Input("at", "temperature", "temperature of the copper", "60 degC", "20 degC")
_WINDING: Final = 1e5  # ohms; no winding of a bench has more
_FUSE: Final = Input(
    "kind", "word", "kind of fuse", "blade", "blade", choices=("blade", "ul", "time-lag")
)
_CAUTION: Final = (
    "Pack out. Insulated clips, eye protection; measure on the capacitor itself, after bleeding"
    " too: behind an open fuse the terminals read 0 V while it is charged."
)


def _area(given: Given) -> float:
    if (given["awg"] is None) == (given["area"] is None):
        raise ValueError('give the wire as awg=18 or as area="0.75 mm2", one of the two')
    return wire.awg_area(given["awg"]) if given["area"] is None else float(given["area"])


def _wire(given: Given) -> list[float]:
    ohms = 2 * wire.wire_ohms(given["length"], _area(given), given["at"])
    lost = wire.volts_lost(given["amps"], given["length"], _area(given), given["at"])
    joint = given["amps"] * given["joint"]
    return [lost, ohms, given["amps"] * lost, joint, given["amps"] * joint]


def _phases(given: Given) -> list[float]:
    from knowngood.calculate.motor import phases_from_pairs, unbalance

    pairs = (given["ab"], given["bc"], given["ca"])
    found = phases_from_pairs(*pairs, given["connection"])
    return [*found, unbalance(*pairs)]


def _say_phases(given: Given, found: Sequence[float]) -> list[str]:
    percent = found[3]
    low = min(given["ab"], given["bc"], given["ca"]) < resistance.LOW_OHMS
    leads = [resistance.FOUR_WIRES] if low else []
    if percent <= 2:
        return [f"The pairs are within {percent:.1f} % of their average: alike (2 %).", *leads]
    if percent <= 10:
        off = "between 2 % (three-phase motors, published) and 10 % (common practice): read again"
        return [f"The pairs are {percent:.1f} % off their average, {off}.", *leads]
    return [f"The pairs are {percent:.1f} % off their average: a joint, a lead, turns.", *leads]


def _bleed(given: Given) -> list[float]:
    volts, farads, ohms = given["volts"], given["capacitance"], given["ohms"]
    found = capacitor.bleed(volts, farads, ohms)
    left = math.nan
    if given["after"] is not None:
        left = capacitor.volts_after(given["after"], volts, farads, ohms)
    return [left, found.to_touch, found.to_meter, found.first_watts, found.joules]


def _resistor(given: Given) -> list[float]:
    ohms = capacitor.bleed_resistor(
        given["volts"], given["capacitance"], given["within"], given["left"]
    )
    return [ohms, given["volts"] ** 2 / ohms]


def _fuse_time(given: Given) -> list[float]:
    multiple = fuse.multiple_of(given["amps"], given["rating"])
    return [multiple, *fuse.opening(multiple, given["kind"])]


def _say_fuse_time(given: Given, found: Sequence[float]) -> list[str]:
    _, shortest, longest = found
    said = [f"Limits: {fuse.SOURCE[given['kind']]}."]
    if math.isinf(shortest):
        return ["It holds.", *said]
    if math.isinf(longest):
        said.insert(0, "It may hold for ever at this current.")
    if shortest == 0:
        said.insert(0, "No least time is promised at this current.")
    return said


def _blown(given: Given) -> list[float]:
    found = fuse.what_blew(given["rating"], given["after"], given["kind"])
    return [found.least_amps, found.most_amps]


def _say_blown(given: Given, _found: Sequence[float]) -> list[str]:
    look = fuse.what_blew(given["rating"], given["after"], given["kind"]).look
    return [f"It was {look}.", f"Limits: {fuse.SOURCE[given['kind']]}."]


_VOLTS: Final = Input("volts", "voltage", "volts on it at first", "60 V")
_FARADS: Final = Input("capacitance", "capacitance", "its capacitance", "1000 uF")

ELECTRICAL: Final[tuple[Sum, ...]] = (
    Sum(
        "wire-drop",
        "Volts lost along a lead and its return",
        (
            Input("awg", "gauge", "wire gauge", "18", "", shown=True),
            Input("area", "area", "metal area, instead of the gauge", "0.75 mm2", ""),
            Input("length", "length", "length one way", "3 m", least=0.0, most=1000.0),
            Input("amps", "current", "current", "10 A"),
            Input("joint", "resistance", "ohms of a bad joint", "10 mohm", "10 mohm", most=10.0),
            _CELSIUS,
        ),
        (
            Output("volts lost", "voltage"),
            Output("loop", "resistance"),
            Output("heat", "power"),
            Output("a bad joint adds", "voltage"),
            Output("and heats with", "power"),
        ),
        _wire,
        "V = 2 I L / (58 MS/m x area), x (234.5 + T) / 254.5; AWG d = 0.127 mm x 92^((36-n)/39);"
        " a joint I R, I^2 R",
        "IEC 60028 (100 % IACS), ASTM B258, IEEE 118; 10 mohm of a bad joint is common practice",
        "with further joints and plugs; tinned or copper-clad aluminium wire; a hot bundle",
    ),
    Sum(
        "wire-gauge",
        "A wire gauge in millimetres",
        (Input("awg", "gauge", "wire gauge", "18"), _CELSIUS),
        (
            Output("diameter of the metal", "mm"),
            Output("area", "area"),
            Output("per km", "resistance"),
        ),
        lambda g: [
            wire.awg_diameter(g["awg"]),
            wire.awg_area(g["awg"]),
            wire.ohms_per_km(wire.awg_area(g["awg"]), g["at"]),
        ],
        "d = 0.127 mm x 92^((36-n)/39)",
        "ASTM B258; IEC 60028",
        "for the outside of stranded wire, which is thicker than its metal",
    ),
    Sum(
        "winding-ohms",
        "Ohms of a winding at another temperature",
        (
            Input("ohms", "resistance", "ohms as read", "50 mohm", most=_WINDING),
            Input("measured", "temperature", "temperature when read", "20 degC"),
            Input("wanted", "temperature", "temperature wanted", "80 degC"),
        ),
        (Output("at the wanted temperature", "resistance", like="ohms"),),
        lambda g: [resistance.at_temperature(g["ohms"], g["measured"], g["wanted"])],
        "R2 = R1 (234.5 + T2) / (234.5 + T1)",
        "IEEE 118, annealed copper",
        "with leads in the reading (0.2 to 0.5 ohm), aluminium wire (225), -60 to 250 degC",
    ),
    Sum(
        "winding-rise",
        "How much a winding warmed, by its ohms",
        (
            Input("cold", "resistance", "ohms cold", "0.100 ohm", most=_WINDING),
            Input("hot", "resistance", "ohms just after the run", "0.130 ohm", most=_WINDING),
            Input("at", "temperature", "temperature when cold", "20 degC"),
            Input("ambient", "temperature", "air at the end of the run", "25 degC"),
        ),
        (Output("rise in K", "K"), Output("winding", "temperature", like="at")),
        lambda g: [
            (rise := resistance.winding_rise(g["cold"], g["hot"], g["at"], g["ambient"])),
            rise + g["ambient"],
        ],
        "rise = R2/R1 (234.5 + T1) - 234.5 - ambient",
        "IEC 60034-1, method of resistance (from memory)",
        "when the hot reading comes late (a small motor loses 1 K in seconds); the hottest spot is"
        " about 10 K above this mean",
    ),
    Sum(
        "winding-phases",
        "Phases of a motor from the ohms of its three pairs",
        (
            Input("ab", "resistance", "first pair", "52 mohm", most=_WINDING),
            Input("bc", "resistance", "second pair", "53 mohm", most=_WINDING),
            Input("ca", "resistance", "third pair", "52 mohm", most=_WINDING),
            Input("connection", "word", "how it is wound", "wye", "wye", choices=("wye", "delta")),
        ),
        (
            Output("a (delta: ab)", "resistance"),
            Output("b (delta: bc)", "resistance"),
            Output("c (delta: ca)", "resistance"),
            Output("most off the average", "percent"),
        ),
        _phases,
        "wye: a = (ab + ca - bc) / 2; delta by Kennelly's formulas",
        "textbook; 2 % from a trade article on three-phase motors; 10 % common practice",
        "with lead and contact ohms like the winding's own: four wires, or compare only",
        _say_phases,
    ),
    *PACK,
    Sum(
        "capacitor-energy",
        "Energy in a capacitor",
        (_FARADS, _VOLTS),
        (Output("energy", "energy"),),
        lambda g: [capacitor.stored_energy(g["capacitance"], g["volts"])],
        "E = C V^2 / 2",
        "textbook",
        "with a capacitance by its print: -20 to +20 %",
        caution=_CAUTION,
    ),
    Sum(
        "capacitor-bleed",
        "Bleeding a capacitor: volts left, when it is safe, what the resistor takes",
        (
            _VOLTS,
            _FARADS,
            Input("ohms", "resistance", "bleed resistor, or the meter's 10 Mohm", "1 kohm"),
            Input("after", "time", "time of bleeding", "5 s", "", shown=True),
        ),
        (
            Output("volts left", "voltage"),
            Output("to the touch limit (60 V dc)", "time"),
            Output("to the ohms range (1 V)", "time"),
            Output("resistor at first", "power"),
            Output("energy", "energy"),
        ),
        _bleed,
        "V exp(-t / RC); t = RC ln(V / left); P = V^2 / R",
        "textbook; 60 V dc from IEC 61010-1 and IEC 62368-1 ES1 (from memory), 1 V common practice",
        "with a capacitance by its print (-20 to +20 %), and after: it comes back by some percent,"
        " so measure again",
        caution=_CAUTION,
    ),
    Sum(
        "bleed-resistor",
        "The largest resistor that bleeds a capacitor in time",
        (
            _VOLTS,
            _FARADS,
            Input("within", "time", "time allowed", "5 s"),
            Input("left", "voltage", "volts left", "1 V", "1 V"),
        ),
        (Output("at most", "resistance"), Output("resistor at first", "power")),
        _resistor,
        "R = t / (C ln(V / left))",
        "textbook",
        "with a capacitance by its print: take 20 % less ohms; a resistor rated for the first power"
        " or a third of it, since it lasts seconds (common practice)",
        caution=_CAUTION,
    ),
    Sum(
        "capacitor-climb",
        "How fast a diode or ohms range climbs across a capacitor",
        (Input("test", "current", "test current of the range", "1 mA"), _FARADS),
        (Output("climb", "V/s"),),
        lambda g: [capacitor.climb(g["test"], g["capacitance"])],
        "dV/dt = I / C",
        "textbook",
        "near the range's open volts, and with anything else across it",
        caution=_CAUTION,
    ),
    Sum(
        "fuse-time",
        "How long a fuse holds a current",
        (
            Input("amps", "current", "current through it", "60 A"),
            Input("rating", "current", "rating on the fuse", "30 A"),
            _FUSE,
        ),
        (
            Output("times the rating", "number"),
            Output("opens no sooner than", "time"),
            Output("opens no later than", "time"),
        ),
        _fuse_time,
        "limits by multiple of the rating; between two rows what surely holds",
        "published limits of blade fuses; UL 248-14; IEC 60127",
        "hot surroundings, pulses over years, another make than the limits are for",
        _say_fuse_time,
        doubt="refused",
        caution="Never a larger fuse, nor a bridge across it: the leads burn instead.",
    ),
    Sum(
        "fuse-blown",
        "What current blew a fuse, by the time it took",
        (
            Input("rating", "current", "rating on the fuse", "30 A"),
            Input("after", "time", "time from switching on", "2 s"),
            _FUSE,
        ),
        (Output("at least", "current"), Output("at most", "current")),
        _blown,
        "the multiples whose limits contain that time",
        "published limits of blade fuses; UL 248-14; IEC 60127; where to look: common practice",
        "for a fuse that was weak before, or a current that came and went",
        _say_blown,
        doubt="refused",
        caution="No new fuse before the input reads high ohms: a second one blows just the same.",
    ),
)
