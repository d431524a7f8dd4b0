"""Elements with more than two ends, and those that switch themselves."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final, Self

from knowngood.circuit.element import (
    ANY,
    CONTACT,
    DIODE,
    OHMS,
    Battery,
    Branch,
    Capacitor,
    Diode,
    Draw,
    Element,
    Field,
    Fuse,
    Lamp,
    Law,
    Resistor,
    Rule,
    Sense,
    State,
    Switch,
    Thermistor,
    Wire,
    weak_diode,
)
from knowngood.circuit.laws import Ohm, Open, junction


@dataclass(frozen=True, slots=True, kw_only=True)
class Potentiometer(Element):
    """`ohms` end to end; the wiper stands at `position`, 0 at a and 1 at b, with `wiper_ohms` of
    contact. Branches: upper (a), lower (b), wiper."""

    KIND = "potentiometer"
    PINS = ("wiper",)
    MAYBE = ("a", "b")
    FIELDS = (
        OHMS,
        Field("position", "number", False, 0.0, 1.0),
        Field("wiper_ohms", "resistance"),
    )
    STATES = ("bool", "position")

    ohms: float
    position: float = 0.5
    wiper_ohms: float = 0.0

    def branches(self) -> tuple[Branch, ...]:
        track = self.own("track")
        a, b = self.pins.get("a", self.own("a")), self.pins.get("b", self.own("b"))
        return (
            Branch("upper", a, track, Ohm(self.ohms * self.position)),
            Branch("lower", track, b, Ohm(self.ohms * (1 - self.position))),
            Branch("wiper", track, self.pins["wiper"], Ohm(self.wiper_ohms)),
        )

    def at(self, state: State) -> Self:
        if isinstance(state, bool):
            return replace(self, plugged=state)
        return replace(self, position=state)

    def wrong(self) -> tuple[str, str] | None:
        if "a" in self.pins or "b" in self.pins:
            return None
        return "a potentiometer needs one end at least", "Add the pin a or b"


@dataclass(frozen=True, slots=True, kw_only=True)
class Relay(Element):
    """Pulls in when its healthy coil would see `pull_in` volts (by amps: a coil of more ohms needs
    more volts). com meets nc at rest and no when pulled. Branches: coil, no, nc.

    A state given, or `pulled` in the file, holds the armature by hand.
    """

    KIND = "relay"
    PINS = ("coil+", "coil-", "com")
    MAYBE = ("no", "nc")
    FIELDS = (
        Field("coil_ohms", "resistance", True, 1e-3),
        Field("pull_in", "voltage", True, 1e-3, 1e6),
        Field("ohms", "resistance"),
        Field("pulled", None),
    )
    MODES = CONTACT

    coil_ohms: float
    pull_in: float
    ohms: float = 0.0
    pulled: bool | None = None

    def branches(self) -> tuple[Branch, ...]:
        com, contact = self.pins["com"], Ohm(self.ohms)
        no, nc = self.pins.get("no", self.own("no")), self.pins.get("nc", self.own("nc"))
        coil = Branch("coil", self.pins["coil+"], self.pins["coil-"], Ohm(self.coil_ohms))
        return (
            coil,
            Branch("no", com, no, Open(), contact),
            Branch("nc", com, nc, contact, Open()),
        )

    def rule(self) -> Rule:
        sense = Sense(self.pull_in / self.coil_ohms, branch="coil", inclusive=True)
        return Rule((sense,), self.pulled)

    def at(self, state: State) -> Self:
        return replace(self, pulled=bool(state))


@dataclass(frozen=True, slots=True, kw_only=True)
class Winding3(Element):
    """Three windings with `ohms` from line to line: R = ohms / 2 each in wye (branches u, v, w), or
    3/2 ohms each in delta (branches uv, vw, wu)."""

    KIND = "winding3"
    PINS = ("u", "v", "w")
    FIELDS = (OHMS,)  # and `delta: true`, or `form: wye | delta`

    ohms: float
    delta: bool = False

    def branches(self) -> tuple[Branch, ...]:
        u, v, w = self.pins["u"], self.pins["v"], self.pins["w"]
        if self.delta:
            side = Ohm(self.ohms * 1.5)
            return Branch("uv", u, v, side), Branch("vw", v, w, side), Branch("wu", w, u, side)
        star, leg = self.own("star"), Ohm(self.ohms / 2)
        return Branch("u", u, star, leg), Branch("v", v, star, leg), Branch("w", w, star, leg)


@dataclass(frozen=True, slots=True, kw_only=True)
class Bridge(Element):
    """Six transistors, all off: their body diodes. Branches u+ v+ w+ (phase to plus) and u- v- w-
    (minus to phase); values as of a diode."""

    KIND = "bridge"
    PINS = ("plus", "minus", "u", "v", "w")
    FIELDS = DIODE

    drop: float = 0.5
    at_amps: float = 1e-3
    ideality: float = 1.5

    def branches(self) -> tuple[Branch, ...]:
        law = junction(self.drop, self.at_amps, self.ideality)
        plus, minus = self.pins["plus"], self.pins["minus"]
        high = [Branch(f"{p}+", self.pins[p], plus, law) for p in "uvw"]
        return (*high, *(Branch(f"{p}-", minus, self.pins[p], law) for p in "uvw"))

    def wrong(self) -> tuple[str, str] | None:
        return weak_diode(junction(self.drop, self.at_amps, self.ideality))


@dataclass(frozen=True, slots=True, kw_only=True)
class Module(Element):
    """A box with a rule: alive above `alive_above` volts from plus to minus and, with the pin
    enable, above `enable_above` volts from enable to minus.

    Alive it draws `amps`, and `out` follows: `out_volts` above minus if given, fed from plus
    as by a linear regulator, else plus itself; through `out_ohms`. Dead, out is open. `ohms` from
    plus to minus and `enable_ohms` from enable to minus are always there. Branches: draw, supply,
    enable, out.
    """

    KIND = "module"
    PINS = ("plus", "minus")
    MAYBE = ("enable", "out")
    FIELDS = (
        Field("alive_above", "voltage", True, 0.0, 1e6),
        Field("enable_above", "voltage", False, 0.0, 1e6),
        Field("amps", "current"),
        Field("ohms", "resistance", low=1e-6),
        Field("enable_ohms", "resistance", low=1e-6),
        Field("out_volts", "voltage", False, -1e6, 1e6),
        Field("out_ohms", "resistance"),
        Field("alive", None),
    )
    MODES = ("open", "short", "leak", "stuck open", "stuck closed", "high resistance")

    alive_above: float
    enable_above: float | None = None
    amps: float = 0.0
    ohms: float | None = None
    enable_ohms: float | None = None
    out_volts: float | None = None
    out_ohms: float = 0.0
    alive: bool | None = None

    def branches(self) -> tuple[Branch, ...]:
        plus, minus = self.pins["plus"], self.pins["minus"]
        enable = self.pins.get("enable", self.own("enable"))
        out = self.pins.get("out", self.own("out"))
        if self.out_volts is None:
            feed = Branch("out", plus, out, Open(), Ohm(self.out_ohms))
        else:  # minus to out: -volts + ohms x amps out
            law = Ohm(self.out_ohms, -self.out_volts)
            feed = Branch("out", plus, out, Open(), law, sense=(minus, out))
        return (
            Branch("draw", plus, minus, Open(), Draw(self.amps)),
            Branch("supply", plus, minus, _maybe(self.ohms)),
            Branch("enable", enable, minus, _maybe(self.enable_ohms)),
            feed,
        )

    def rule(self) -> Rule:
        minus = self.pins["minus"]
        senses = [Sense(self.alive_above, plus=self.pins["plus"], minus=minus)]
        if "enable" in self.pins and self.enable_above is not None:
            senses.append(Sense(self.enable_above, plus=self.pins["enable"], minus=minus))
        return Rule(tuple(senses), self.alive)

    def at(self, state: State) -> Self:
        return replace(self, alive=bool(state))

    def wrong(self) -> tuple[str, str] | None:
        if ("enable" in self.pins) != (self.enable_above is not None):
            return "the pin enable and enable_above belong together", "Give both or neither"
        return None


def _maybe(ohms: float | None) -> Law:
    return Open() if ohms is None else Ohm(ohms)


KINDS: Final[Mapping[str, type[Element]]] = {
    kind.KIND: kind
    for kind in (
        Battery,
        Resistor,
        Lamp,
        Fuse,
        Wire,
        Switch,
        Thermistor,
        Capacitor,
        Diode,
        Potentiometer,
        Relay,
        Winding3,
        Bridge,
        Module,
    )
}
"""Every kind of element by its name in a file."""

MODES: Final = tuple(dict.fromkeys((*ANY, *CONTACT)))
