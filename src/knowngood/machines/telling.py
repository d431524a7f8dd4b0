"""Which kind of test would tell two faults apart: from what they are in the wiring, or their mode.

What is named is a kind (ohms across a switch at its own terminals, a look at the part itself), not
a finished test; where it has to be taken and what it reads is for the writer of the file.
"""

from __future__ import annotations

from typing import Final

from knowngood.machines.electric import Change
from knowngood.machines.machine import Fault, Machine

OHMS: Final = 0  # how telling a kind is: the lowest rank is named
LIVE: Final = 1
LOOK: Final = 2
SWAP: Final = 3
_BY_MODE: Final[tuple[tuple[tuple[str, ...], int, str], ...]] = (
    (("worn", "bent", "broken", "stretched", "loose", "missing", "damaged", "adjustment"), LOOK,
     "a look, a gauge or a pull at {part} itself, with what hides it off"),
    (("jam", "seiz", "drag", "stuck"), LOOK,
     "turning or moving {part} by hand, uncoupled from what it drives and from what drives it"),
    (("block", "fouled"), LOOK, "a look or a flow through {part}, with what feeds it taken off"),
    (("leak",), LOOK, "pressure, vacuum or a day of waiting on {part}, with all else sealed off"),
    (("contaminated", "stale"), LOOK, "a sample from {part} beside a known good one"),
    (("capacitance",), OHMS, "capacitance of {part} on its own terminals, discharged"),
    (("open", "short", "resistance"), OHMS, "ohms of {part} at its own terminals, unplugged"),
)  # fmt: skip


def telling_kind(machine: Machine, first: str, second: str) -> str:
    """The kind of test, as the end of a sentence: "ohms across the brake switch ...".

    ``first`` and ``second`` are fault ids of the machine; KeyError for an unknown one.
    """
    faults = {f.id: f for f in machine.faults}
    offers = sorted((_kind(machine, faults[id]) for id in (first, second)), key=lambda o: o[0])
    return offers[0][1]


def _kind(machine: Machine, fault: Fault) -> tuple[int, str]:
    rank, words = next((_electric(machine, c) for c in fault.changes), None) or _plain(
        machine, fault)
    shows = fault.shows or {}
    often = max(shows, key=lambda c: shows[c], default="rest")
    if often != "rest":
        while_ = {"wiggled": "shaken or worked", "warm": "warmed", "loaded": "under load"}[often]
        words += f", {while_}, since it shows there"
    return rank, words


def _electric(machine: Machine, change: Change) -> tuple[int, str]:
    ref = (change.on or change.value).split(".")[0]
    words = ref
    if machine.wires is not None and ref in machine.wires.circuit.by_ref:
        words = machine.wires.circuit.by_ref[ref].words or ref
    if change.value:
        what = "volts under a known load" if change.value.endswith("ohms") else "volts"
        return LIVE, f"{what} of {words} at its own terminals, nothing else connected"
    if change.mode in ("short", "leak"):
        other = f" to {change.to}" if change.to else ""
        return OHMS, f"ohms of {words}{other} with both its ends unplugged"
    if change.mode == "stuck closed":
        return OHMS, f"ohms across {words}, unplugged and let go"
    if change.mode == "high resistance":
        return LIVE, f"the drop across {words} alone at a known current"
    return OHMS, f"ohms across {words} at its own terminals, unplugged and held"


def _plain(machine: Machine, fault: Fault) -> tuple[int, str]:
    names = {p.id: p.words.lower() for p in machine.parts}
    part = " and ".join(names.get(p, p) for p in fault.parts) or "what is not on the list"
    mode = fault.mode.casefold()
    for marks, rank, words in _BY_MODE:
        if any(m in mode for m in marks):
            return rank, words.format(part=part)
    return SWAP, (f"{part} driven by a known good neighbour of the shop, or the neighbour driven by"
                  " a known good one")
