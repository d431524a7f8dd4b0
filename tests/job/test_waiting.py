"""What a job waits for, told by its events alone."""

from __future__ import annotations

import pytest

from knowngood.job import events as ev
from knowngood.job import shelf as sh
from knowngood.job.apart import PartInHand
from knowngood.job.job import replay
from knowngood.job.waiting import FITTED, waits_for
from knowngood.job.words import next_in_words
from tests.job.record import OPENED, told, volts

DECIDED = ev.PartDecided("box", "Start box", "BW-1322", True, "It cannot read that.")
ORDERED = sh.PartOrdered("box", "Start box", "BW-1322", "Brackwater", "2026-03-06")
BOLT = sh.PartOrdered("bolt", "Blade bolt", expected="2026-03-09")
PASSED = ev.ReleaseChecked("blade", "Blade stops", "pass")
PROMISED = sh.Promised("2026-03-05")


@pytest.mark.parametrize(
    ("events", "kind", "what", "due"),
    [
        ([], "look", "", ""),
        ([volts("r1", 20.0)], "prove", "1 reading and no part named yet", ""),
        ([DECIDED], "order", "Start box proven", "2026-03-02"),
        ([DECIDED, ev.DecisionWithdrawn()], "look", "", ""),
        ([DECIDED, ORDERED], "part", "Start box", "2026-03-06"),
        ([DECIDED, ORDERED, BOLT], "part", "Blade bolt", "2026-03-09"),
        ([DECIDED, ORDERED, BOLT, sh.PartArrived("bolt")], "part", "Start box", "2026-03-06"),
        ([DECIDED, ORDERED, sh.OrderWithdrawn("box")], "order", "Start box proven", "2026-03-02"),
        ([DECIDED, ORDERED, PROMISED], "part", "Start box", "2026-03-05"),
        ([DECIDED, ORDERED, sh.PartArrived("box")], "fit", "Start box", ""),
        ([DECIDED, sh.PartArrived("box", "Start box", "drawer 1")], "fit", "Start box", ""),
        ([DECIDED, PartInHand("box", "Start box", "right")], "fit", "Start box", ""),
        ([DECIDED, PartInHand("box", "Start box", "wrong")], "order", "Start box proven",
         "2026-03-02"),
        ([DECIDED, ev.NoteAdded(FITTED + "Start box")], "fit", "Start box", ""),
        ([DECIDED, ORDERED, sh.AnswerAwaited("Go on?", "2026-03-04")], "answer", "Go on?",
         "2026-03-04"),
        ([sh.AnswerAwaited("Go on?", ""), sh.AnswerCame("yes")], "look", "", ""),
        ([DECIDED, PASSED], "ready", "", ""),
        ([DECIDED, PASSED, ev.StepOpened("lid", "Lid")], "fit", "Start box", ""),
        ([PASSED, ev.ReleaseChecked("guard", "Guard shuts", "fail", "bent")], "held",
         "Guard shuts", ""),
        ([PROMISED, ev.JobClosed("repaired")], "closed", "repaired", ""),
    ],
)  # fmt: skip
def test_what_it_waits_for(events: list[ev.Event], kind: str, what: str, due: str) -> None:
    waits = waits_for(replay(told(OPENED, *events)))
    assert (waits.kind, waits.what, waits.due) == (kind, what, due)


def test_it_stands_where_it_was_put_until_it_is_worked_on() -> None:
    put = [OPENED, sh.Shelved("bin 4"), DECIDED]
    assert waits_for(replay(told(*put))).place == "bin 4"
    assert waits_for(replay(told(*put, volts("r1", 20.0)))).place == ""
    assert waits_for(replay(told(*put, ev.StepOpened("lid", "Lid")))).place == ""
    again = [*put, ev.StepOpened("lid", "Lid"), sh.Shelved("bin 5")]
    assert waits_for(replay(told(*again))).place == "bin 5"
    assert waits_for(replay(told(*again, sh.Shelved("")))).place == ""


def test_what_is_next_says_what_it_waits_for() -> None:
    assert next_in_words(replay(told(OPENED, DECIDED, ORDERED))) == "wait for Start box"
    asked = replay(told(OPENED, sh.AnswerAwaited("Go on?", "")))
    assert next_in_words(asked) == "the customer's answer: Go on?"
