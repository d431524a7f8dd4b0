"""What every element has in common, and the plain ones with two ends.

An element only stamps itself: `branches()` says between which nodes it does what. Volts, amps and
states of the rest of the circuit are none of its business.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import ClassVar, Final, Self

from knowngood.circuit.laws import Draw, Filament, Junction, Law, Ohm, Open, junction
from knowngood.measure.unit_table import Dimension

__all__ = ["ANY", "Branch", "Draw", "Element", "Field", "Law", "Rule", "Sense", "State"]

State = bool | float
"""How an element stands: True closed, in, plugged, pulled, alive; False the other; or a number,
the position of a potentiometer (0 to 1) or the temperature of a thermistor (degC)."""

ANY: Final = ("open", "short", "high resistance", "leak")
CONTACT: Final = (*ANY, "stuck open", "stuck closed")


@dataclass(frozen=True, slots=True)
class Field:
    """One value of an element in a file; numbers in base units, between `low` and `high`."""

    key: str
    dimension: Dimension | None  # None: true or false
    required: bool = False
    low: float = 0.0
    high: float = 1e12


@dataclass(frozen=True, slots=True)
class Branch:
    """One current path from node `a` to node `b`; `name` is "" for the element's only one.

    `on` is its law when a relay is pulled or a module alive, None if that changes nothing.
    `sense`: the law's volts are those between two other nodes than a and b.
    """

    name: str
    a: str
    b: str
    law: Law
    on: Law | None = None
    sense: tuple[str, str] | None = None


@dataclass(frozen=True, slots=True)
class Sense:
    """On needs more than `limit`: amps (either way) through the own branch `branch`, or volts from
    node `plus` to node `minus`. A relay pulls at its limit (`inclusive`)."""

    limit: float
    branch: str = ""
    plus: str = ""
    minus: str = ""
    inclusive: bool = False


@dataclass(frozen=True, slots=True)
class Rule:
    """An element that switches itself: on while every sense holds; `forced` settles it."""

    senses: tuple[Sense, ...]
    forced: bool | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Element:
    """`pins` maps a pin to its node; `through` lists the connectors that its wire passes;
    `plugged` False takes it out of the circuit. `words`, `colour` and `source` are for people."""

    KIND: ClassVar[str] = ""
    PINS: ClassVar[tuple[str, ...]] = ("a", "b")
    MAYBE: ClassVar[tuple[str, ...]] = ()
    FIELDS: ClassVar[tuple[Field, ...]] = ()
    MODES: ClassVar[tuple[str, ...]] = ANY
    STATES: ClassVar[tuple[str, ...]] = ("bool",)

    ref: str
    pins: Mapping[str, str]
    through: tuple[str, ...] = ()
    plugged: bool = True
    words: str = ""
    colour: str = ""
    source: str = ""

    def branches(self) -> tuple[Branch, ...]:
        """Its current paths; always the same number in the same order."""
        raise NotImplementedError

    def rule(self) -> Rule | None:
        return None

    def at(self, state: State) -> Self:
        """The element in a given state."""
        return replace(self, plugged=bool(state))

    def wrong(self) -> tuple[str, str] | None:
        """(message, fix) if its values do not fit together."""
        return None

    def own(self, name: str) -> str:
        """A node inside the element. No node of a file can have this name."""
        return f"{self.ref}\n{name}"


class _TwoEnds(Element):
    __slots__ = ()

    def branches(self) -> tuple[Branch, ...]:
        return (Branch("", self.pins["a"], self.pins["b"], self.law()),)

    def law(self) -> Law:
        raise NotImplementedError


OHMS: Final = Field("ohms", "resistance", required=True)


@dataclass(frozen=True, slots=True, kw_only=True)
class Battery(Element):
    """A source of `volts` behind `ohms`; amps count as positive when it feeds."""

    KIND = "battery"
    PINS = ("plus", "minus")
    FIELDS = (Field("volts", "voltage", True, -1e6, 1e6), Field("ohms", "resistance"))

    volts: float
    ohms: float = 0.0

    def branches(self) -> tuple[Branch, ...]:
        # Seen from minus to plus, so that amps out of plus are positive.
        return (Branch("", self.pins["minus"], self.pins["plus"], Ohm(self.ohms, -self.volts)),)


@dataclass(frozen=True, slots=True, kw_only=True)
class Resistor(_TwoEnds):
    KIND = "resistor"
    FIELDS = (OHMS,)

    ohms: float

    def law(self) -> Law:
        return Ohm(self.ohms)


@dataclass(frozen=True, slots=True, kw_only=True)
class Lamp(_TwoEnds):
    """A filament: `ohms` cold, and the `volts` and `watts` at which it glows. Without `ohms` a
    twelfth of the hot ones (common practice: a tenth to a fifteenth). With `ohms` alone: a plain
    resistance."""

    KIND = "lamp"
    FIELDS = (
        Field("ohms", "resistance", low=1e-6),
        Field("volts", "voltage", low=1e-3, high=1e6),
        Field("watts", "power", low=1e-6),
    )

    ohms: float | None = None
    volts: float | None = None
    watts: float | None = None

    def law(self) -> Law:
        if self.volts is None or self.watts is None:
            return Ohm(self.ohms or 0.0)
        hot = self.volts**2 / self.watts
        return Filament(self.ohms or hot / 12, hot, self.volts)

    def wrong(self) -> tuple[str, str] | None:
        if (self.volts is None) != (self.watts is None):
            return "volts and watts belong together", "Give both, or ohms alone"
        if self.volts is None and self.ohms is None:
            return "a lamp needs volts and watts, or ohms", "Write volts: 12 V, watts: 21 W"
        law = self.law()
        if isinstance(law, Filament) and not law.hot > law.cold:
            hot = f"{law.hot:.4g} ohm hot"
            return f"{hot} is not above {law.cold:.4g} ohm cold", "Leave out ohms to have a twelfth"
        return None


@dataclass(frozen=True, slots=True, kw_only=True)
class Fuse(_TwoEnds):
    KIND = "fuse"
    FIELDS = (Field("ohms", "resistance"), Field("rating", "current"))
    MODES = CONTACT

    ohms: float = 0.0
    rating: float | None = None

    def law(self) -> Law:
        return Ohm(self.ohms)


@dataclass(frozen=True, slots=True, kw_only=True)
class Wire(_TwoEnds):
    KIND = "wire"
    FIELDS = (Field("ohms", "resistance"),)  # or awg / mm2 and length, which give the ohms

    ohms: float = 0.0

    def law(self) -> Law:
        return Ohm(self.ohms)


@dataclass(frozen=True, slots=True, kw_only=True)
class Switch(_TwoEnds):
    KIND = "switch"
    FIELDS = (Field("ohms", "resistance"), Field("closed", None))
    MODES = CONTACT

    ohms: float = 0.0
    closed: bool = False

    def law(self) -> Law:
        return Ohm(self.ohms) if self.closed else Open()

    def at(self, state: State) -> Self:
        return replace(self, closed=bool(state))


@dataclass(frozen=True, slots=True, kw_only=True)
class Thermistor(_TwoEnds):
    """`ohms` at 25 degC; with `beta` (kelvin) it follows R25 exp(B (1/T - 1/298.15))."""

    KIND = "thermistor"
    FIELDS = (
        Field("ohms", "resistance", True, 1e-3),
        Field("beta", "number", False, 1.0, 20000.0),
        Field("temperature", "temperature", False, -100.0, 400.0),
    )
    STATES = ("bool", "temperature")

    ohms: float
    beta: float | None = None
    temperature: float = 25.0

    def law(self) -> Law:
        kelvin = self.temperature + 273.15
        return Ohm(self.ohms * math.exp((self.beta or 0.0) * (1 / kelvin - 1 / 298.15)))

    def at(self, state: State) -> Self:
        if isinstance(state, bool):
            return replace(self, plugged=state)
        return replace(self, temperature=state)


@dataclass(frozen=True, slots=True, kw_only=True)
class Capacitor(_TwoEnds):
    """Open at rest; the ohms and diode ranges of a meter charge it and climb. Infinite `farads`:
    not known, so it never fills and no display that it would move can be told."""

    KIND = "capacitor"
    FIELDS = (Field("farads", "capacitance", False, 1e-15, 1e6),)

    farads: float = math.inf

    def law(self) -> Law:
        return Open(self.farads)


DIODE: Final = (
    Field("drop", "voltage", low=0.01, high=10.0),
    Field("at", "current", low=1e-9, high=1e4),
    Field("ideality", "number", low=0.5, high=10.0),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Diode(Element):
    """Shows `drop` at the current `at`; `ideality` sets how it grows. The defaults suit a silicon
    junction on a meter's diode range (common practice)."""

    KIND = "diode"
    PINS = ("anode", "cathode")
    FIELDS = DIODE

    drop: float = 0.55
    at_amps: float = 1e-3
    ideality: float = 1.5

    def law(self) -> Junction:
        return junction(self.drop, self.at_amps, self.ideality)

    def branches(self) -> tuple[Branch, ...]:
        return (Branch("", self.pins["anode"], self.pins["cathode"], self.law()),)

    def wrong(self) -> tuple[str, str] | None:
        return weak_diode(self.law())


def weak_diode(law: Junction) -> tuple[str, str] | None:
    """A diode whose drop and ideality cannot go together."""
    if 1e-40 < law.saturation < 1.0:
        return None
    return (
        f"this drop and ideality would need a saturation current of {law.saturation:.2g} A",
        "Try ideality 1 to 2, and the drop at the current named",
    )
