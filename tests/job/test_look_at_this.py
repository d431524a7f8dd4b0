"""What rested on something that has changed since is shown; nothing is refused."""

from __future__ import annotations

import pytest

from knowngood.job import events as ev
from knowngood.job.job import replay
from tests.job.record import OPENED, told, volts

R1, R2 = volts("r1", 20.1), volts("r2", 0.012, "12 mV")
ON_R1 = ev.PartDecided("trigger", "Trigger switch", "TS-114", True, "", {"readings": ["r1"]})
ON_ALL = ev.PartDecided("trigger", "Trigger switch", "TS-114", True, "")
OTHER = ev.PartDecided("board", "Controller", "C-9", True, "", {"readings": ["r1"]})
STOPS = ev.ReleaseChecked("stop", "Blade stop", "pass")
GONE = ev.ReadingWithdrawn("r1", "wrong range")


@pytest.mark.parametrize(
    ("why", "events"),
    [
        ("withdrawn", [R1, ON_R1, GONE]),
        ("withdrawn", [R1, ON_ALL, GONE]),
        ("corrected", [R1, ON_R1, volts("r3", 19, corrects="r1")]),
        # The phone decided after the withdrawal was in the record, but had not heard of it.
        ("withdrawn", [R1, GONE, (ON_R1, "phone", 2)]),
        ("made without the reading '12 mV'", [R1, R2, (ON_R1, "phone", 2)]),
        ("Controller was decided on another device", [R1, OTHER, (ON_R1, "phone", 2)]),
        ("newer machine file", [R1, ON_R1, ev.MachineAdopted("e" * 64)]),
        ("no longer accepted", [R1, ON_R1, ev.AcceptWithdrawn("motor")]),
        (
            "fits nothing",
            [R1, ON_R1, R2, ev.ReadingJudged("r2", "fits nothing", "", {"fits": False})],
        ),
        ("Deck was opened after it", [STOPS, ev.StepOpened("deck", "Deck")]),
        ("newer machine file", [STOPS, ev.MachineAdopted("e" * 64)]),
        ("Trigger switch was decided after it", [R1, STOPS, ON_R1]),
        ("came in after it", [ev.JobClosed("repaired"), (R1, "phone", 1)]),
        ("came in after it", [(R1, "phone"), (ev.JobClosed("repaired"), "bench", 1)]),
        ("failed after it", [ev.JobClosed("repaired"), ev.ReleaseChecked("s", "Stop", "fail")]),
    ],
)
def test_it_is_shown(why: str, events: list[ev.Event]) -> None:
    looks = replay(told(OPENED, *events)).look_at_this
    assert len(looks) == 1 and why in looks[0].why


@pytest.mark.parametrize(
    "events",
    [
        [R1, R2, ON_R1, ev.ReadingWithdrawn("r2")],  # it did not rest on r2
        [R1, GONE, ON_ALL],  # known when it was decided
        [R1, ON_R1, GONE, ON_ALL],  # decided again
        [R1, ON_R1, GONE, ev.DecisionWithdrawn()],
        [STOPS, ev.StepOpened("deck", "Deck"), STOPS],  # checked again
        [ev.ReleaseChecked("stop", "Blade stop", "fail"), ev.StepOpened("deck", "Deck")],
        [ev.JobClosed("repaired"), R1, ev.JobReopened()],
        [R1, ON_R1, R2],  # a later reading that fits is no change
        [(R1, "phone"), (ON_R1, "phone", 0)],  # a device knows its own
    ],
)
def test_it_is_not_shown(events: list[ev.Event]) -> None:
    assert replay(told(OPENED, *events)).look_at_this == ()
