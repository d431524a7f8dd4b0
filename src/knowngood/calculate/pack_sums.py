"""The sums of packs and cells: in series, charge at rest, resistance from the sag."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

from knowngood.calculate import battery
from knowngood.calculate.sums import Given, Input, Output, Sum, sentence

_LOADED: Final = (
    "The pack can give hundreds of amps: nothing bridges its contacts, no rings or watch. Load on"
    " something that does not burn, in sight; stop when the pack gets warm, swells or smells."
)
_SAG: Final = "a pack that warms or rests changes within a minute; contacts and leads are in it"


def _inner(given: Given) -> list[float]:
    ohms = battery.inner_ohms(given["rest"], given["loaded"], given["amps"])
    times = math.nan if given["good"] is None else ohms / given["good"]
    return [ohms, 100 * (1 - given["loaded"] / given["rest"]), times]


def _say_inner(given: Given, found: Sequence[float]) -> list[str]:
    limits = f"up to {battery.GOOD_TIMES:g} times its ohms good, from {battery.TIRED_TIMES:g} tired"
    if given["good"] is None:
        return [f"Good or tired is told against a known-good pack of the model ({limits}): give"
                " good=OHMS of one read in the same way."]  # fmt: skip
    verdict = battery.pack_verdict(found[0], given["good"])
    return [f"{sentence(verdict)[:-1]}: {found[2]:.3g} times the known-good pack ({limits})."]


def _whole(cells: float) -> float:
    if cells != int(cells) or not 1 <= cells <= 30:
        raise ValueError(f"{cells:g} cells in series: a whole number from 1 to 30")
    return cells


PACK: Final[tuple[Sum, ...]] = (
    Sum(
        "pack-cells",
        "Cells in series of a lithium-ion pack",
        (Input("full", "voltage", "volts fully charged", "58.8 V"),),
        (Output("cells in series", "number"),),
        lambda g: [battery.series_count(g["full"])],
        "full volts / 4.2",
        "arithmetic",
        "for iron phosphate (3.6 V) and for nominal volts, which are lower",
        doubt="refused",
    ),
    Sum(
        "cell-charge",
        "Charge of a lithium-ion cell from its volts at rest",
        (
            Input("volts", "voltage", "volts at rest, of the pack or of one cell", "3.75 V"),
            Input("cells", "number", "cells in series", "10", "1"),
            Input(
                "chemistry",
                "word",
                "nmc or nca (full at 4.2 V), lfp (iron phosphate, 3.6 V)",
                "nmc",
                choices=(*battery.CHEMISTRIES, "lfp"),
            ),
        ),
        (Output("charge", "percent"), Output("per cell", "voltage")),
        lambda g: [
            battery.lithium_charge(g["volts"] / _whole(g["cells"]), g["chemistry"]),
            g["volts"] / g["cells"],
        ],
        "straight lines between tenths of the charge",
        "cell of Chen et al. 2020 (21700, NMC 811), computed with PyBaMM",
        "under load or within an hour of it; one weak cell hides in a pack's volts; lfp gets no"
        " figure, as its volts hardly move",
        spread=lambda _g, _found: [10.0, 0.0],
        spread_says="10 % of charge between cell makes (common practice)",
    ),
    Sum(
        "lead-acid-charge",
        "Charge of a 12 V lead-acid battery from its volts at rest",
        (Input("volts", "voltage", "volts at rest, surface charge drawn off", "12.4 V"),),
        (Output("charge", "percent"),),
        lambda g: [battery.lead_acid_charge(g["volts"])],
        "12.6 12.4 12.2 12.0 11.7 V: 100 75 50 25 0 %",
        "US Army TM 5-3805-262-20",
        "just after charging, in the cold, for gel and calcium types (0.1 to 0.2 V higher); volts"
        " say nothing about the amps it can give",
        spread=lambda _g, _found: [12.5],
        spread_says="0.1 V, 12.5 % of charge, between makes (common practice)",
        caution="Eye protection; it gives off gas that explodes: open air, no flame or spark, no"
        " tool across the posts. Acid on skin or in eyes: rinse with much water, then a doctor.",
    ),
    Sum(
        "inner-ohms",
        "Resistance of a pack and its contacts from the sag",
        (
            Input("rest", "voltage", "volts at rest", "40.2 V"),
            Input("loaded", "voltage", "volts under load", "38.1 V"),
            Input("amps", "current", "load", "15 A"),
            Input("good", "resistance", "ohms of a known-good pack of the model", "90 mohm", ""),
        ),
        (
            Output("resistance", "resistance"),
            Output("sag", "percent"),
            Output("times the known good", "number"),
        ),
        _inner,
        "R = (rest - loaded) / I",
        "textbook; twice the ohms of new as the end of life is common practice",
        _SAG,
        _say_inner,
        caution=_LOADED,
    ),
    Sum(
        "cell-resistance",
        "DC resistance of a cell or pack from two loads",
        (
            Input("volts1", "voltage", "volts after 10 s at the small load", "3.95 V"),
            Input("amps1", "current", "small load (0.2 C)", "1 A"),
            Input("volts2", "voltage", "volts after 1 s at the large load", "3.86 V"),
            Input("amps2", "current", "large load (1 C)", "5 A"),
        ),
        (Output("resistance", "resistance"),),
        lambda g: [battery.dc_resistance(g["volts1"], g["amps1"], g["volts2"], g["amps2"])],
        "R = (V1 - V2) / (I2 - I1)",
        "IEC 61960-3: 0.2 C for 10 s, then 1 C for 1 s",
        "at other times than 10 and 1 s, below 20 % charge, in the cold",
        caution=_LOADED,
    ),
)
