"""The form of a machine file: which entries there are and what each may hold.

Every field has a description and an example; docs/machine-files.md explains them all.
"""

from __future__ import annotations

from typing import Annotated, Any, Final, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, StringConstraints
from pydantic_core import PydanticCustomError

from knowngood.machines.machine import Circumstance, Stage, StepRole
from knowngood.measure.units import Quantity


def _text_of(value: Any) -> Any:
    """Serials and part numbers of digits only need no quotes."""
    return str(value) if isinstance(value, int) and not isinstance(value, bool) else value


def _forecast_of(value: Any) -> Any:
    if isinstance(value, str) and value.strip():
        return value
    if isinstance(value, list) and value and all(isinstance(v, str) for v in value):
        return value
    raise PydanticCustomError(
        "forecast", "not a forecast"
    )


def _list_of(value: Any) -> Any:
    """One id alone may stand without brackets."""
    return [value] if isinstance(value, str) else value


def _changes_of(value: Any) -> Any:
    """One change alone may stand without a dash."""
    return [value] if isinstance(value, dict) else value


Words = Annotated[
    str, BeforeValidator(_text_of), StringConstraints(min_length=1, max_length=600, strict=True)
]
Id = Annotated[str, StringConstraints(pattern=r"^[a-z][a-z0-9_]{0,59}$", strict=True)]
Digest = Annotated[str, StringConstraints(pattern=r"^[0-9a-f]{64}$", strict=True)]
Ids = Annotated[list[Id], BeforeValidator(_list_of)]
Keys = Annotated[str, StringConstraints(min_length=1, max_length=2000)]  # ids with commas
WordList = Annotated[list[Words], BeforeValidator(_list_of)]
ForecastText = Annotated[Any, BeforeValidator(_forecast_of)]
Money = Annotated[float, Field(ge=0, le=1e6, strict=True, allow_inf_nan=False)]
Minutes = Annotated[float, Field(ge=0, le=1e4, strict=True, allow_inf_nan=False)]
Weight = Annotated[float, Field(ge=0, le=1e9, strict=True, allow_inf_nan=False)]
Chance = Annotated[float, Field(ge=0, le=1, strict=True, allow_inf_nan=False)]
Share = Annotated[float, Field(ge=0, lt=1, strict=True, allow_inf_nan=False)]
Flag = Annotated[bool, Field(strict=True)]


def _as(example: str, **more: Any) -> Any:
    """A field with the example that a fix shows."""
    return Field(json_schema_extra={"example": example}, **more)


class Spec(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class NumberSpec(Spec):
    number: Words = _as("BW-4410")
    models: WordList = _as("[BM-561]", default=[])
    serial_from: Words | None = _as("2301A00001", default=None)
    serial_to: Words | None = _as("2312Z99999", default=None)
    supersedes: WordList = _as("[BW-4409]", default=[])
    read_at: Words = _as("the old part, 3 March 2026", default="")
    source: Words | None = _as("the maker's parts list, page and date", default=None)


class PartSpec(Spec):
    words: Words = _as("Battery pack")
    contents: WordList = _as("[cells, pack fuse]", default=[])
    numbers: list[NumberSpec] = _as("- {number: BW-4410}", default=[])
    price: Money = _as("189")
    minutes: Minutes = _as("10")
    days: Minutes = _as("7", default=7.0)
    returnable: Chance = _as("0.8", default=0.8)
    bad_chance: Chance = _as("0.01", default=0.01)
    cells: Annotated[int, Field(ge=1, le=200, strict=True)] | None = _as("14", default=None)
    needs: Ids = _as("[shell]", default=[])
    source: Words | None = _as("common practice", default=None)


class FastenerSpec(Spec):
    count: Annotated[int, Field(ge=1, le=999, strict=True)] = _as("8")
    drive: Words = _as("T25")
    length: Words = _as("16 mm", default="")
    where: Words = _as("cover rim", default="")


class StepSpec(Spec):
    words: Words = _as("Lift the controller cover")
    back: Words = _as("Controller cover back on", default="")
    role: StepRole = _as("shell", default="")
    minutes: Minutes = _as("3")
    back_minutes: Minutes = _as("4")
    needs: Ids = _as("[shell]", default=[])
    fasteners: list[FastenerSpec] = _as("- {count: 8, drive: T25}", default=[])
    traps: WordList = _as("[two lengths of screw]", default=[])
    caution: Words = _as("Pack out and kept by you", default="")
    states: dict[Words, Any] = _as("{pack plug: out}", default={})
    pictures: Annotated[list[Digest], Field(max_length=20)] = _as("[9f86d0...]", default=[])
    source: Words | None = _as("common practice", default=None)


class PointSpec(Spec):
    words: Words = _as("pack plus")
    open: Ids = _as("[grille]", default=[])
    closed: Ids = _as("[switch_plug]", default=[])
    common: Flag = _as("true", default=False)


class CircuitSpec(Spec):
    """``elements`` are read by the circuit's own reader."""

    ground: Words = _as("B-")
    elements: list[Any] = _as("- {ref: F1, kind: fuse, pins: {a: B+, b: F1.out}, ohms: 5 mohm}")
    states: dict[Words, Any] = _as("{S1: open, pack plug: in}", default={})
    spreads: dict[Keys, Words] = _as("{BT1.volts: 48 V .. 58 V}", default={})
    points: dict[Words, PointSpec] = _as("{B+: {words: pack plus}}", default={})
    source: Words | None = _as("common practice", default=None)


class ConditionSpec(Spec):
    words: Words = _as("pack out, shell shut")
    open: Ids = _as("[pack_out]", default=[])
    closed: Ids = _as("[pack_out]", default=[])
    held: WordList = _as("[bail]", default=[])
    energised: Flag = _as("true", default=False)
    volts: Words | None = _as("40 V", default=None)
    circumstance: Circumstance = _as("rest", default="rest")
    caution: Words = _as("Blade off; hands clear", default="")
    states: dict[Words, Any] = _as("{S1: closed}", default={})
    spreads: dict[Keys, Words] = _as("{BT1.volts: 57.4 V .. 58.8 V}", default={})
    generate: Flag = _as("false", default=True)
    uses: Ids | None = _as("[pack]", default=None)
    does: WordList = _as("[engine runs]", default=[])


class ChangeSpec(Spec):
    on: Words | None = _as("F1", default=None)
    mode: Words | None = _as("open", default=None)
    ohms: Words | None = _as("1 ohm .. 500 ohm log", default=None)
    to: Words | None = _as("B-, or 12 V .. 17 V", default=None)
    set: Words | None = _as("BT1.volts", default=None)
    share: Words | None = _as("60 %", default=None)
    unsteady: Words | None = _as("40 %", default=None)
    when: WordList = _as("[loaded]", default=[])
    unless: WordList = _as("[pack_full]", default=[])


Changes = Annotated[list[ChangeSpec], BeforeValidator(_changes_of)]


class FaultSpec(Spec):
    words: Words = _as("main fuse blown")
    mode: Words = _as("open")
    parts: Ids = _as("[fuse], or [] when no part on the list cures it")
    weight: Weight = _as("5")
    leaves: dict[Keys, Chance] = _as("{fuse_open: 0.6}", default={})
    shows: dict[Circumstance, Chance] | None = _as("{rest: 0.2, wiggled: 0.7}", default=None)
    causes: Ids = _as("[packed_grass]", default=[])
    circuit: Changes = _as("{on: F1, mode: open}", default=[])
    source: Words | None = _as("common practice", default=None)


class DoubleSpec(Spec):
    faults: Annotated[list[Id], Field(min_length=2, max_length=2)] = _as("[pack_weak, fuse_open]")
    weight: Weight = _as("0.5")
    source: Words | None = _as("common practice", default=None)


class LimitsSpec(Spec):
    low: Words | None = _as("50 V", default=None)
    high: Words | None = _as("59 V", default=None)
    source: Words | None = _as("the maker's manual, page", default=None)


class ProbeSpec(Spec):
    read: Literal["volts", "ohms", "amps", "diode"] = _as("volts")
    red: Words | None = _as("B+", default=None)
    black: Words | None = _as("B-", default=None)
    through: Words | None = _as("F1", default=None)
    pairs: list[Annotated[list[Words], Field(min_length=2, max_length=2)]] = _as(
        "[[U, V], [V, W]]", default=[])
    write: Literal["highest", "lowest"] | None = _as("highest", default=None)


class TestSpec(Spec):
    __test__ = False  # not a test case of the test suite

    words: Words = _as("Measure the pack at its terminals.")
    question: Words = _as("pack volts at rest")
    quantity: Quantity | None = _as("volts", default=None)
    condition: Id = _as("outside")
    minutes: Minutes = _as("2")
    probe: ProbeSpec | None = _as("{read: volts, red: B+, black: B-}", default=None)
    good: ForecastText = _as("50 V .. 58.8 V", default=None, validate_default=False)
    expect: dict[Keys, ForecastText] = _as("{pack_dead: 0 V}", default={})
    everyday: Annotated[float, Field(gt=0, le=0.5, strict=True)] | None = _as("0.2", default=None)
    red: Words = _as("pack +", default="")
    black: Words = _as("pack -", default="")
    limits: LimitsSpec | None = _as("{low: 50 V, high: 59 V}", default=None)
    good_reads: Words = _as("50 to 58.8 V", default="")
    compare: WordList = _as("[UV, VW, WU]", default=[])
    frequency: Words | None = _as("70 Hz", default=None)
    grade: Literal["measured", "seen"] = _as("measured", default="measured")
    follows: Id | None = _as("pack_charge", default=None)
    slip: Annotated[float, Field(ge=0, le=0.5, strict=True)] = _as("0.02", default=0.02)
    alters: Flag = _as("false", default=False)
    look: Flag = _as("true", default=False)
    verifies: Flag = _as("true", default=False)
    does: WordList = _as("[engine runs]", default=[])
    sees: WordList = _as("[engine runs]", default=[])
    after: Ids = _as("[input_ohms]", default=[])
    holds: Ids = _as("[verify, run_loaded]", default=[])
    hazard: Id | None = _as("pack", default=None)
    uses: Ids | None = _as("[pack]", default=None)
    caution: Words = _as("Do not bridge the terminals", default="")
    reason: Words = _as("the board may trip, which the circuit does not know", default="")
    source: Words | None = _as("common practice", default=None)


class ComplaintSpec(Spec):
    words: Words = _as("Dead: nothing happens")
    shown_by: Ids = _as("[verify]", default=[])
    given: dict[Keys, Chance] = _as("{pack_dead: 0.9}", default={})
    others: Chance = _as("0.02", default=0.02)
    no_fault: Chance = _as("0.1", default=0.1)
    cannot: WordList = _as("[engine runs]", default=[])
    source: Words | None = _as("common practice", default=None)


class ToldSpec(Spec):
    words: Words = _as("Swapped the pack: no change")
    given: dict[Keys, Chance] = _as("{pack_dead: 0.05}", default={})
    others: Chance = _as("0.5", default=0.5)
    source: Words | None = _as("common practice", default=None)


class CauseSpec(Spec):
    words: Words = _as("grass packed under the deck")
    ask: Words = _as("Is grass packed under the deck?")
    mend: Words = _as("Scrape the deck clean")
    caution: Words = _as("Key and pack out first", default="")
    read_by: WordList = _as("[bridge_diode]", default=[])
    source: Words | None = _as("common practice", default=None)


class ReleaseSpec(Spec):
    words: Words = _as("Blade seen still within 3.0 s of release")
    safety: Flag = _as("true", default=True)
    stage: Stage = _as("full", default="run")
    caution: Words = _as("Nobody in front of the chute", default="")
    source: Words | None = _as("16 CFR 1205.5(a)(1)(iii)", default=None)


class NuisanceSpec(Spec):
    words: Words = _as("charge of the pack")
    spread: Annotated[float, Field(gt=0, le=1, strict=True)] = _as("0.02")
    source: Words | None = _as("common practice", default=None)


class MachineSpec(Spec):
    machine: Annotated[str, StringConstraints(pattern=r"^[a-z][a-z0-9_-]{0,59}$", strict=True)] = (
        _as("mower-battery-56v")
    )
    based_on: Words | None = _as("blower-56v", default=None)
    drop: dict[str, WordList] = _as("{tests: [live_volts], conditions: [live]}", default={})
    words: Words = _as("Walk-behind battery mower")
    family: Words = _as("walk-behind battery mower")
    makers: WordList = _as("[Brackwater]", default=[])
    models: WordList = _as("[BM-561]", default=[])
    rated_volts: Words | None = _as("56 V", default=None)
    full_volts: Words | None = _as("58.8 V", default=None)
    other_weight: Share = _as("0.05", default=0.05)
    no_fault_weight: Weight = _as("0.05", default=0.05)
    source: Words | None = _as("common practice", default=None)
    sources: dict[str, Words] = _as("{tests: common practice}", default={})
    cautions: WordList = _as("[Key and pack out before hands go under the deck]", default=[])
    circuit: CircuitSpec | None = _as("{ground: B-, elements: [...]}", default=None)
    nuisances: dict[Id, NuisanceSpec] = _as("{pack_charge: ...}", default={})
    parts: dict[Id, PartSpec] = _as("{pack: ...}")
    numbers: dict[Id, list[NumberSpec]] = _as("{pack: [{number: BW-4410}]}", default={})
    teardown: dict[Id, StepSpec] = _as("{pack_out: ...}", default={})
    conditions: dict[Id, ConditionSpec] = _as("{outside: ...}")
    faults: dict[Id, FaultSpec] = _as("{pack_dead: ...}")
    doubles: list[DoubleSpec] = _as("- {faults: [a, b], weight: 1}", default=[])
    tests: dict[Id, TestSpec] = _as("{pack_rest: ...}")
    complaints: dict[Id, ComplaintSpec] = _as("{dead: ...}")
    told: dict[Id, ToldSpec] = _as("{swapped_pack: ...}", default={})
    causes: dict[Id, CauseSpec] = _as("{packed_grass: ...}", default={})
    release: dict[Id, ReleaseSpec] = _as("{blade_stop: ...}", default={})
    fixed_order: Ids = _as("[pack_rest]", default=[])


SECTIONS: Final[dict[str, type[Spec]]] = {
    "circuit": CircuitSpec,
    "nuisances": NuisanceSpec,
    "parts": PartSpec,
    "teardown": StepSpec,
    "conditions": ConditionSpec,
    "faults": FaultSpec,
    "doubles": DoubleSpec,
    "tests": TestSpec,
    "complaints": ComplaintSpec,
    "told": ToldSpec,
    "causes": CauseSpec,
    "release": ReleaseSpec,
}
INNER: Final[dict[tuple[str, str], type[Spec]]] = {
    ("parts", "numbers"): NumberSpec,
    ("teardown", "fasteners"): FastenerSpec,
    ("tests", "limits"): LimitsSpec,
    ("tests", "probe"): ProbeSpec,
    ("faults", "circuit"): ChangeSpec,
    ("circuit", "points"): PointSpec,
}
SOURCED: Final = tuple(s for s, spec in SECTIONS.items() if "source" in spec.model_fields)


def form_at(place: tuple[str | int, ...]) -> type[Spec]:
    """The form of the entry that holds the last name of ``place``."""
    if len(place) < 2 or place[0] not in SECTIONS:
        return MachineSpec
    section = str(place[0])
    if section == "circuit":
        return PointSpec if place[1] == "points" and len(place) > 3 else CircuitSpec
    if len(place) > 3:
        return INNER.get((section, str(place[2])), SECTIONS[section])
    return SECTIONS[section]


def example_of(place: tuple[str | int, ...]) -> str:
    """What may stand at ``place``: "price: 189"."""
    form, name = form_at(place), str(place[-1]) if place else ""
    info = form.model_fields.get(name)
    extra = info.json_schema_extra if info else None
    if isinstance(extra, dict) and "example" in extra:
        return f"{name}: {extra['example']}"
    return ""
