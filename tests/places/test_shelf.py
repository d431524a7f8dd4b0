"""The shelf in words, on a day that is given."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from knowngood.places import shelf
from knowngood.places.days import day_words
from knowngood.places.record import At, Record, Refused
from knowngood.places.returning import returning
from tests.browser.fourteen import fill

NOW = datetime(2026, 11, 25, 10, 0, tzinfo=ZoneInfo("America/New_York"))  # a Wednesday
SAM = At(NOW, "Sam")


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, str]]:
    path = tmp_path_factory.mktemp("shelf") / "shop.db"
    with Record.open(path) as record:
        return path, fill(record, NOW)


def test_each_line_says_what_a_person_would_say(filled: tuple[Path, dict[str, str]]) -> None:
    with Record.open(filled[0]) as record:
        said = {line.customer: line for line in shelf.waiting(record, NOW)}
    assert {name: (one.says, one.next, one.by) for name, one in said.items()} == {
        "Okafor": ("Start box was due yesterday, not here", "call the supplier", "1 day late"),
        "Pohl": ("Start box due Friday", "wait for the part", "by Friday"),
        "Roth": ("Trigger switch proven, part not ordered yet", "order it", "4 days late"),
        "Ito": ("nobody has answered since Thursday: New board at 120 USD, go on?",
                "ask the customer again", "1 day late"),
        "Silva": ("nobody has answered since Sunday: Is the battery under warranty?",
                  "ask the customer again", "by Saturday"),
        "Novak": ("Start solenoid ordered 18 November, no date given",
                  "ask the supplier for a date", ""),
        "Berg": ("Start box is here since 16 November",
                 "fit Start box, then put it together again", ""),
        "Haas": ("ready to go back since yesterday", "call the customer", ""),
        "Kim": ("held: " + said["Kim"].says.removeprefix("held: "), "mend it, then check again",
                ""),
        "Diaz": ("nobody has looked at it since yesterday", "the first look",
                 "promised Saturday"),
        "Wirth": ("nobody has looked at it since Monday", "the first look",
                  "promised yesterday, 1 day late"),
        "Owusu": ("checked in, nothing measured yet, 1 step open", "the first reading", ""),
        "Lund": ("nobody has looked at it since yesterday", "the first look", ""),
        "Moss": ("Trigger switch due 2 December", "wait for the part", "promised Monday"),
    }  # fmt: skip
    assert [line.customer for line in said.values()][:4] == ["Roth", "Okafor", "Ito", "Wirth"]
    assert [one.overdue for one in said.values()] == [True] * 4 + [False] * 10
    assert {name for name, one in said.items() if one.pieces} == {
        "Roth", "Okafor", "Pohl", "Moss", "Berg", "Owusu"
    }  # fmt: skip
    assert {name: one.clash for name, one in said.items() if one.clash} == {
        "Moss": "promised Monday, but the part comes 2 December: call the customer, or promise a "
                "later day",
    }  # fmt: skip
    assert (said["Okafor"].place, said["Lund"].place) == ("shelf B2", "")


def test_a_machine_with_a_blank_check_is_not_ready(tmp_path: Path) -> None:
    with Record.open(tmp_path / "shop.db") as record:
        ids = fill(record, NOW)
        job = ids["Lund"]
        machine = shelf.pinned_machine(
            record, record.log.summary(job).machine_digest  # type: ignore[union-attr]
        )
        from knowngood.job import events as ev

        checks = [ev.ReleaseChecked(c.id, c.words, "pass") for c in machine.release]
        record.append(job, checks[:1], SAM)
        line = next(one for one in shelf.waiting(record, NOW) if one.job == job)
        assert line.says == f"back together, {len(checks) - 1} release checks to do"
        record.append(job, checks[1:], SAM)
        line = next(one for one in shelf.waiting(record, NOW) if one.job == job)
        assert line.says == "ready to go back since today"


def test_one_screen_says_where_the_work_was_left(filled: tuple[Path, dict[str, str]]) -> None:
    path, ids = filled
    with Record.open(path) as record:
        it = returning(record, ids["Okafor"], NOW)
        assert it.came_for == "It will not start, it is dead."
        assert it.proven.startswith("Start box, number BW-1322. Bail switch at its tabs")
        assert [(one.words, one.where) for one in it.off] == [("Console cover off", "tray 3")]
        assert [one.words for one in it.last] == [
            "decided: Start box (proven)",
            "ordered Start box BW-1322 from Brackwater, due 2026-11-24",
            "put at shelf B2",
        ]
        assert it.last[0].when == "17 November 09:00" and it.last[0].by == "Ida"
        assert it.next == "call the supplier"
        with pytest.raises(Refused):
            returning(record, "nothing", NOW)


def test_what_cannot_be_is_refused_with_the_way_out(filled: tuple[Path, dict[str, str]]) -> None:
    path, ids = filled
    with Record.open(path) as record:
        job = ids["Lund"]
        for call, words in (
            (lambda: shelf.order_part(record, job, "", SAM), "name the part"),
            (lambda: shelf.order_part(record, job, "x", SAM, expected="soon"), "year-month-day"),
            (lambda: shelf.arrive(record, job, "", SAM), "no part is on order"),
            (lambda: shelf.answer(record, job, "yes", SAM), "was not asked"),
            (lambda: shelf.await_answer(record, job, " ", SAM), "what was the customer asked"),
            (lambda: shelf.cancel_order(record, job, "x", SAM), "not on order; nothing is"),
            (lambda: shelf.put(record, job, "x" * 81, SAM), "at most 80"),
            (lambda: shelf.put(record, "nothing", "x", SAM), "there is no job"),
        ):
            with pytest.raises(Refused, match=words):
                call()


def test_without_a_date_the_customer_is_asked_again_in_three_days(tmp_path: Path) -> None:
    with Record.open(tmp_path / "shop.db") as record:
        job = fill(record, NOW)["Lund"]
        shelf.await_answer(record, job, "Go on?", SAM)
        found = record.log.job(job)
        assert found is not None and found.shelf.by_date == "2026-11-28"


@pytest.mark.parametrize(
    ("away", "words"),
    [(0, "today"), (1, "tomorrow"), (-1, "yesterday"), (2, "Friday"), (6, "Tuesday"),
     (7, "2 December"), (-6, "Thursday"), (-7, "18 November"), (40, "4 January 2027")],
)  # fmt: skip
def test_days_as_they_are_said(away: int, words: str) -> None:
    """25 November 2026 is a Wednesday (ISO 8601 calendar)."""
    today = date(2026, 11, 25)
    assert today.isoweekday() == 3
    assert day_words(today + timedelta(days=away), today) == words
