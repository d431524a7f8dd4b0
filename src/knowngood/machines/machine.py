"""A machine as the bench knows it: parts, teardown, faults, tests. Pure data, no rules.

Numbers are in base units (V, A, ohm, ...), minutes in minutes, money in the shop's currency.
``source`` says where a number comes from; ``common practice`` and ``invented for the demo``
are legal sources.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Final, Literal, get_args

from knowngood.circuit.element import State
from knowngood.isolate.forecast import Forecast, Piece
from knowngood.machines.back import back_words
from knowngood.machines.electric import Change, Probing, Wires
from knowngood.measure.units import Quantity

Circumstance = Literal["rest", "wiggled", "warm", "loaded"]
StepRole = Literal["", "source out", "discharge", "shell"]
Stage = Literal["source out", "still", "run", "full", "after"]
STAGES: Final[tuple[Stage, ...]] = get_args(Stage)
NOT_SEEN: Final = "not seen yet: "
"""What a trap begins with that asks for what a described machine shows there."""


@dataclass(frozen=True, slots=True)
class PartNumber:
    """A maker's number for a service part, with the machines it fits. ``read_at``: where somebody
    read it (the plate, the old part, a page of the maker's list) and when."""

    number: str
    models: tuple[str, ...] = ()
    serial_from: str | None = None
    serial_to: str | None = None
    supersedes: tuple[str, ...] = ()
    source: str = ""
    read_at: str = ""


@dataclass(frozen=True, slots=True)
class ServicePart:
    """The smallest thing that can be ordered. ``contents`` is what is inside it, in words."""

    id: str
    words: str
    contents: tuple[str, ...]
    numbers: tuple[PartNumber, ...]
    price: float
    minutes: float  # to fit, teardown not included
    days: float = 7.0  # until a special order is here
    returnable: float = 0.8  # share of the price that comes back for a wrong part
    bad_chance: float = 0.01  # a new one that is bad out of the box
    needs: tuple[str, ...] = ()  # teardown steps that must be open to fit it
    source: str = ""
    cells: int | None = None  # lithium-ion cells in series, in a pack

    @property
    def labour_only(self) -> bool:
        """Work without a part: its contents say so, and it has neither price nor number."""
        said = any(words.casefold().startswith("labour only") for words in self.contents)
        return said and not self.price and not self.numbers


@dataclass(frozen=True, slots=True)
class Fastener:
    count: int
    drive: str
    length: str = ""
    where: str = ""


@dataclass(frozen=True, slots=True)
class TeardownStep:
    """Something that is opened, unplugged or taken out, and goes back at the end.

    ``minutes`` to open, ``back_minutes`` to put back (charged once, at the first opening).
    ``back``: what is done when it goes back, in words. ``role``: "source out" takes the source of
    energy away (pack out and key kept, plug lead off);
    "discharge" waits and measures the capacitor; "shell" bares live parts. Steps that need a
    shell step count as an open shell too.
    """

    id: str
    words: str
    minutes: float
    back_minutes: float
    needs: tuple[str, ...] = ()
    fasteners: tuple[Fastener, ...] = ()
    traps: tuple[str, ...] = ()
    caution: str = ""
    source: str = ""
    role: StepRole = ""
    states: Mapping[str, State] = field(default_factory=dict)  # what it does to the circuit
    back: str = ""
    pictures: tuple[str, ...] = ()  # digests of pictures in the shop's record

    @property
    def known_traps(self) -> tuple[str, ...]:
        """The traps without those that ask for what is not seen yet."""
        return tuple(t for t in self.traps if not t.startswith(NOT_SEEN))

    @property
    def goes_back(self) -> str:
        """What is done when it goes back: as the file says, else by what came off."""
        return self.back or back_words(self.words)


@dataclass(frozen=True, slots=True)
class Condition:
    """The state in which a test is taken.

    ``open``: teardown steps that must be open; ``closed``: steps that must not be (the pack is
    back in); ``held``: controls held by the person; ``energised``: a source is connected.
    ``volts``: of that source when it is not the machine's own pack (a bench supply). ``states``:
    how the circuit stands here; ``spreads``: spans that replace those of the circuit;
    ``generate``: further tests may be worked out here. ``does``: what the machine itself must do
    here, such as "engine runs".
    """

    id: str
    words: str
    open: tuple[str, ...] = ()
    closed: tuple[str, ...] = ()
    held: tuple[str, ...] = ()
    energised: bool = False
    circumstance: Circumstance = "rest"
    caution: str = ""
    volts: float | None = None
    states: Mapping[str, State] = field(default_factory=dict)
    spreads: Mapping[str, Piece] = field(default_factory=dict)
    generate: bool = True
    does: tuple[str, ...] = ()
    uses: tuple[str, ...] | None = None  # parts measured, charged, loaded or plugged in here


@dataclass(frozen=True, slots=True)
class Secondary:
    """A fault that this one leaves behind, with the chance that it does."""

    fault: str
    chance: float


@dataclass(frozen=True, slots=True)
class Fault:
    """A primary fault. ``parts``: the service parts that cure it (empty: none on the list)."""

    id: str
    words: str
    mode: str  # failure mode in a word or two: open, short, high resistance, worn, jammed ...
    parts: tuple[str, ...]
    weight: float
    leaves: tuple[Secondary, ...] = ()
    shows: Mapping[str, float] | None = None  # None: always there
    causes: tuple[str, ...] = ()  # root causes to clear before the new part goes in
    source: str = ""
    changes: tuple[Change, ...] = ()  # what it is in the wiring


@dataclass(frozen=True, slots=True)
class DoubleFault:
    faults: tuple[str, str]
    weight: float
    source: str = ""


@dataclass(frozen=True, slots=True)
class Limits:
    """What counts as good, in base units; either end may be open."""

    low: float | None
    high: float | None
    source: str


@dataclass(frozen=True, slots=True)
class Test:
    """A step that asks the machine something.

    ``expect`` maps fault ids to forecasts; ``good`` is for every fault not named (and for the
    healthy machine). When two faults are present, the one listed first is what is seen.
    ``good_reads`` is the expected good reading in words, ``grade`` how it is known.

    With a ``probe`` what is not written by hand (``by_hand`` names those faults, "" the good one)
    is worked out from the wiring by `wiring.wire`, which also adds the ``generated`` tests;
    ``together`` holds forecasts for faults that are there at once, by their sorted ids;
    ``back_first`` further steps that must not be open, or it would read otherwise (`left_open`).
    """

    __test__ = False  # not a test case of the test suite

    id: str
    words: str  # what to do, in a sentence
    question: str  # what is answered, short: "pack volts at rest"
    quantity: Quantity
    condition: str
    minutes: float
    good: Forecast
    expect: Mapping[str, Forecast]
    red: str = ""  # where the red lead goes
    black: str = ""
    limits: Limits | None = None
    good_reads: str = ""
    grade: Literal["measured", "seen"] = "measured"
    follows: str | None = None  # nuisance that scales every value of this test, e.g. "pack"
    slip: float = 0.02
    alters: bool = False  # alters the failed part: only after the decision
    look: bool = False  # needs no tool
    after: tuple[str, ...] = ()  # tests to be read before this one is offered
    holds: tuple[str, ...] = ()  # runs not to be made while this look was made and is not good
    verifies: bool = False  # reproduces the complaint
    caution: str = ""
    source: str = ""
    probe: Probing | None = None
    by_hand: tuple[str, ...] = ()
    reason: str = ""
    generated: bool = False
    together: Mapping[tuple[str, ...], Forecast] = field(default_factory=dict)
    compare: tuple[str, ...] = ()  # readings of one meter and range, judged by their spread
    frequency: float | None = None  # of ac volts, Hz
    does: tuple[str, ...] = ()  # what the machine itself must do, beside that of the condition
    sees: tuple[str, ...] = ()  # what it was seen to do when this test reads good
    hazard: str = ""  # the part that must be left alone when this look is not good
    uses: tuple[str, ...] | None = None  # parts, in place of those of the condition
    back_first: tuple[str, ...] = ()
    everyday: float | None = None  # how often what it finds is there beside any other fault


@dataclass(frozen=True, slots=True)
class Complaint:
    """Words of the customer, and how likely each fault makes them."""

    id: str
    words: str
    given: Mapping[str, float]
    others: float = 0.02  # faults not named
    no_fault: float = 0.1  # contact, user or conditions: nothing is wrong with the machine
    source: str = ""
    shown_by: tuple[str, ...] = ()  # the tests that show it here, the first asked first
    cannot: tuple[str, ...] = ()  # what the machine does not do, if the complaint is true


@dataclass(frozen=True, slots=True)
class Told:
    """What the customer tried and saw: a noisy test. ``given``: chance of this account."""

    id: str
    words: str
    given: Mapping[str, float]
    others: float = 0.5


@dataclass(frozen=True, slots=True)
class RootCause:
    """Why a part failed: asked and answered before the new one goes in."""

    id: str
    words: str  # the cause
    ask: str  # what to look at, as a question answered yes (found) or no
    mend: str  # what to do when it is found
    caution: str = ""
    source: str = ""
    read_by: tuple[str, ...] = ()  # tests: a bad one says yes, all of them good say no


@dataclass(frozen=True, slots=True)
class ReleaseCheck:
    """What is seen before the machine goes back. ``stage``: "source out"; "still" (the source in,
    and it must not run); "run" (the first runs, slow or without load); "full" (full speed or
    load); "after" (the source out again). A machine's checks stand in this order."""

    id: str
    words: str
    safety: bool = True
    caution: str = ""
    source: str = ""
    stage: Stage = "run"


@dataclass(frozen=True, slots=True)
class Nuisance:
    """Something of the whole machine that moves several readings together, as a fraction."""

    id: str
    words: str
    spread: float  # relative standard deviation


@dataclass(frozen=True, slots=True)
class Machine:
    id: str
    words: str
    family: str
    makers: tuple[str, ...]
    models: tuple[str, ...]
    rated_volts: float | None
    parts: tuple[ServicePart, ...]
    teardown: tuple[TeardownStep, ...]
    conditions: tuple[Condition, ...]
    faults: tuple[Fault, ...]
    doubles: tuple[DoubleFault, ...]
    tests: tuple[Test, ...]
    complaints: tuple[Complaint, ...]
    told: tuple[Told, ...]
    causes: tuple[RootCause, ...]
    release: tuple[ReleaseCheck, ...]
    nuisances: tuple[Nuisance, ...] = ()
    cautions: tuple[str, ...] = ()
    fixed_order: tuple[str, ...] = ()  # the family's usual order of tests
    other_weight: float = 0.05
    no_fault_weight: float = 0.05
    source: str = ""
    digest: str = ""  # sha-256 of the file's text, "" when made in memory
    lines: Mapping[str, int] = field(default_factory=dict)  # "tests.pack_rest" -> line
    full_volts: float | None = None  # of the fully charged pack
    wires: Wires | None = None
    wiring: object = field(default=None, compare=False, repr=False)  # set by `wiring.wire`

    def state_of(self, test: Test) -> Condition:
        """The condition of a test, with all that must be back for its reading. Raises KeyError."""
        condition = next((c for c in self.conditions if c.id == test.condition), None)
        if condition is None:
            raise KeyError(test.condition)
        return in_state(condition, test)


def in_state(condition: Condition, test: Test) -> Condition:
    """The condition with what must be back for this test too."""
    more = tuple(s for s in test.back_first if s not in condition.closed)
    return replace(condition, closed=(*condition.closed, *more)) if more else condition
