"""One job on an invented mower, by its events, for the papers. Everything is invented."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone

from knowngood.documents.parties import Given, Shop
from knowngood.isolate.forecast import Forecast, Piece
from knowngood.job import events as ev
from knowngood.job.events import Envelope, Event
from knowngood.job.job import Job, replay
from knowngood.machines.machine import (
    Condition,
    Fault,
    Limits,
    Machine,
    PartNumber,
    ReleaseCheck,
    RootCause,
    ServicePart,
    TeardownStep,
    Test,
)
from knowngood.measure.meter import load_shipped_meter
from knowngood.measure.typed import read_text

MADE_UP = "invented for the demo"
START = datetime(2026, 3, 2, 9, 0, tzinfo=timezone(timedelta(hours=-5)))
NOW = datetime(2026, 3, 4, 16, 30, tzinfo=timezone(timedelta(hours=-5)))
SHOP = Shop(
    "Alder Lane Small Engine & Cordless",
    ("12 Alder Lane", "Millbrook"),
    "555-0142",
    bench_rate=95.0,
    currency="USD",
    keep_days=60,
)
GIVEN = Given(
    claim_number="TO-88213",
    programme="Tolmin dealer programme",
    proof_of_purchase="receipt of 14 May 2025",
    in_service="14 May 2025",
    failed_on="27 February 2026",
    hours="about 40",
    use="household",
)
WORDS = (
    "Started fine, then quit under the lilac. Now nothing when I pull the bail, not even a click."
)


def _part(id: str, words: str, number: str, price: float, *contents: str) -> ServicePart:
    numbers = (PartNumber(number, source=MADE_UP),)
    return ServicePart(id, words, contents, numbers, price, 6, source=MADE_UP)


def _fault(id: str, words: str, mode: str, part: str, *causes: str) -> Fault:
    return Fault(id, words, mode, (part,), 1.0, causes=causes, source=MADE_UP)


def _volts(id: str, question: str, low: float | None, high: float | None, condition: str) -> Test:
    good = Forecast((Piece("between", low or 0.0, high or 60.0),))
    limits = Limits(low, high, MADE_UP)
    return Test(id, question, question, "volts", condition, 2, good, {}, limits=limits)


MACHINE = Machine(
    id="tolmin-m46",
    words="Tolmin M46 cordless walk-behind mower",
    family="walk-behind mower",
    makers=("Tolmin",),
    models=("M46",),
    rated_volts=56.0,
    parts=(
        _part("pack", "56 V pack", "TO-5601-B", 189.0, "14 cells in series", "pack board"),
        _part("bail_switch", "bail switch", "TO-4417-02", 18.4, "switch", "two leads"),
        _part("controller", "motor controller", "TO-7730-C", 96.0, "board", "heat sink"),
        _part("fuse", "main fuse", "TO-1030", 4.2),
    ),
    teardown=(
        TeardownStep("handle_box", "handle box cover", 4, 3, source=MADE_UP),
        TeardownStep("motor_cover", "motor cover", 6, 5, source=MADE_UP),
    ),
    conditions=(
        Condition("pack_out", "Pack out and kept by you"),
        Condition(
            "bail_held", "Pack in, blade guarded, bail held, handle box open", energised=True
        ),
        Condition("box_open", "Pack out, handle box open"),
    ),
    faults=(
        _fault("switch_open", "contacts burnt open", "open", "bail_switch", "water", "rubbed"),
        _fault("pack_dead", "pack board shut down", "no output", "pack"),
        _fault("controller_dead", "controller dead", "no output", "controller"),
        _fault("fuse_open", "fuse blown", "open", "fuse"),
    ),
    doubles=(),
    tests=(
        _volts("pack_rest", "Pack volts at rest", 50.0, 58.8, "pack_out"),
        _volts("switch_drop", "Volts across the bail switch, bail held", None, 0.1, "bail_held"),
        _volts("fuse_drop", "Volts across the main fuse", None, 0.2, "bail_held"),
    ),
    complaints=(),
    told=(),
    causes=(
        RootCause("water", "water in the handle box", "Is there water or rust in it?", "dry, seal"),
        RootCause("rubbed", "cable rubbed through", "Is the cable rubbed at the pivot?", "sleeve"),
        RootCause("fall", "the handle took a fall", "Is the handle bent?", "straighten"),
    ),
    release=(
        ReleaseCheck("blade_stop", "Blade stands still within 3.0 s of letting go"),
        ReleaseCheck("guards", "Guards and deflector in place"),
        ReleaseCheck("bail_feel", "Bail springs back by itself"),
    ),
    source=MADE_UP,
    digest="d" * 64,
)

METER = load_shipped_meter("generic-6000")


def taken(id: str, test: str, question: str, text: str, condition: str) -> ev.ReadingTaken:
    reading = read_text(text, "volts", METER)
    return ev.ReadingTaken(id, test, question, text, reading.to_dict(), condition)


def seen(id: str, question: str, text: str, condition: str) -> ev.ReadingTaken:
    reading = read_text(text, "yes_no", None)
    plain = reading.to_dict()
    return ev.ReadingTaken(id, "rust", question, text, plain, condition, grade="seen")


OPENED = ev.JobOpened(
    "26-1042",
    MACHINE.id,
    MACHINE.digest,
    "dead",
    WORDS,
    customer="R. Quill",
    maker="Tolmin",
    model="M46",
    serial="TM46-0093317",
    meter="generic-6000",
    rates={"bench_rate": 95.0, "currency": "USD"},
)
DECIDED = ev.PartDecided(
    part="bail_switch",
    words="bail switch",
    number="TO-4417-02",
    proven=True,
    sentence=(
        "The bail switch is bad: volts across the bail switch reads 54.08 V where a good one reads "
        "at most 100 mV. What else could make it so is shown out: pack volts at rest (57.9 V)."
    ),
    proof={
        "readings": ["r3", "r2"],
        "missing": "",
        "belief": 0.991,
        "parts": {
            "pack": {"words": "56 V pack", "belief": 0.001, "standing": "known good"},
            "bail_switch": {"words": "bail switch", "belief": 0.991, "standing": "bad"},
            "fuse": {"words": "main fuse", "belief": 0.001, "standing": "known good"},
        },
        "shown_out": [
            {"suspect": "pack board shut down", "by": "Pack volts at rest", "chance": 0.000004},
            {"suspect": "fuse blown", "by": "Volts across the main fuse", "chance": 0.0031},
            {"suspect": "controller dead", "by": "Volts across the bail switch", "chance": 0.0072},
        ],
        "also": [],
    },
)

_DROP = "Volts across the bail switch, bail held"
STORY: tuple[Event, ...] = (
    OPENED,
    ev.ToldNoted("charged", "charged the pack overnight: the light went green"),
    ev.PictureAdded("plate-digest", "Model and serial plate", "plate"),
    taken("r1", "pack_rest", "Pack volts at rest", "5.41 V", "pack_out"),
    ev.ReadingJudged(
        "r1", "bad", "Pack volts at rest: 5.41 V. Not good.", {"slip": "a lost digit"}
    ),
    ev.ReadingWithdrawn("r1", "typed the point in the wrong place"),
    taken("r2", "pack_rest", "Pack volts at rest", "54.12 V", "pack_out"),
    ev.ReadingJudged(
        "r2",
        "good",
        "Pack volts at rest: 54.12 V ± 0.35 V, good is 50 V to 58.8 V. Good. Cleared: 56 V pack.",
        {
            "reads": "54.12 V ± 0.35 V",
            "limits": "50 V to 58.8 V (invented for the demo)",
            "clears": ["56 V pack"],
        },
    ),
    ev.StepOpened("handle_box", "handle box cover", 4.0, "tray 3, blue lid"),
    ev.MinutesNoted("handle_box", 5.5, measured=True),
    taken("r3", "switch_drop", _DROP, "54.08 V", "bail_held"),
    ev.ReadingJudged(
        "r3",
        "bad",
        f"{_DROP}: 54.08 V, good is at most 100 mV. Not good: only bail switch explains it.",
        {"reads": "54.08 V ± 0.35 V", "limits": "at most 100 mV (invented for the demo)"},
    ),
    taken("r4", "fuse_drop", "Volts across the main fuse", "12 mV", "bail_held"),
    ev.ReadingJudged(
        "r4",
        "good",
        "Volts across the main fuse: 12 mV. Good. Cleared: main fuse.",
        {"limits": "at most 200 mV (invented for the demo)", "clears": ["main fuse"]},
    ),
    ev.PictureAdded("meter-digest", "The meter across the bail switch", "meter"),
    ev.Accepted("controller", "motor controller", "M. Rowe"),
    DECIDED,
    seen("r5", "Rust inside the handle box?", "yes", "box_open"),
    ev.ReadingJudged("r5", "bad", "Rust inside the handle box?: yes. Not good."),
    ev.PictureAdded("damage-digest", "Burnt contact, green with rust", "damage"),
    ev.PictureAdded("lost-digest", "Handle box before cleaning", "handle_box"),
    ev.CauseAnswered(
        "water",
        "water in the handle box",
        "Is there water or rust in it?",
        "yes",
        "rust on both contacts, the seal is split",
        "dried, new seal fitted",
        "Ana",
    ),
    ev.CauseAnswered("rubbed", "cable rubbed through", "Is the cable rubbed at the pivot?", "no"),
    ev.MinutesNoted("fit bail switch", 9.0, measured=True),
    ev.StepClosed("handle_box"),
    ev.ReleaseChecked("blade_stop", "Blade stands still within 3.0 s of letting go", "pass"),
    ev.ReleaseChecked("guards", "Guards and deflector in place", "pass"),
    ev.NoteAdded("Customer hoses the mower down; told them to keep the handle box dry."),
)


def envelopes(events: Iterable[Event]) -> list[Envelope]:
    """Three minutes apart, all by Ana on one bench phone."""
    made = []
    for seq, event in enumerate(events, start=1):
        at = START + timedelta(minutes=3 * seq)
        made.append(
            Envelope(
                seq, "job-1", type(event).__name__, 1, "bench", seq, seq - 1, at,
                at.astimezone(UTC), "America/New_York", "Ana", event,
            )
        )  # fmt: skip
    return made


def told(*events: Event) -> Job:
    return replay(envelopes(events))


def with_decision(**changes: object) -> tuple[Event, ...]:
    """The story with another decision."""
    other = replace(DECIDED, **changes)  # type: ignore[arg-type]
    return tuple(other if event is DECIDED else event for event in STORY)


JOB = told(*STORY)
