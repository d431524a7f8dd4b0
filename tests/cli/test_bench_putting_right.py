"""What was entered at the bench is doubted, taken back, explained and noted as people type it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from knowngood.cli.bench import Clock
from knowngood.cli.jobs import list_jobs
from knowngood.cli.person import at_the_bench, person
from knowngood.cli.session import Session, Start
from knowngood.cli.show import HELP
from knowngood.places.bench import note_details, take_reading
from knowngood.places.ends import OFFERED
from knowngood.places.library import shipped_machines
from knowngood.places.record import At, Record
from tests.cli.test_bench import INTRO, Bench


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    opened = Bench(tmp_path)
    yield opened
    opened.record.log.close()


def test_a_doubted_reading_is_withdrawn_where_the_points_were_wrong(bench: Bench) -> None:
    said = bench.enter(INTRO + "box_ohms: 40 ohm")
    assert "check that red and black are where the step says; if not, withdraw 4" in said
    assert "if so, keep it or read it once more" in said


def test_a_guess_at_a_slip_is_withdrawn_where_it_was_right(bench: Bench) -> None:
    said = bench.enter(INTRO + "pack_rest: 57.9 mV")
    assert "did you mean 57.9 V? If so, withdraw 4; if not, keep it or read it once more" in said


def test_why_a_reading_was_withdrawn_is_said_afterwards(bench: Bench) -> None:
    said = bench.enter(INTRO + "pack_rest: 40 V\nwithdraw 4")
    assert "no reason is kept; withdraw 4 WHY adds it" in said
    when = bench.job.readings[3].withdrawn
    assert "withdraw N WHY says why" in bench.enter("withdraw 4")
    assert "reading 4 was withdrawn: it was the other pack" in bench.enter(
        "withdraw 4 it was the other pack")  # fmt: skip
    assert bench.job.readings[3].reason == "it was the other pack"
    assert bench.job.readings[3].withdrawn == when
    assert "(withdrawn: it was the other pack)" in bench.enter("readings")
    assert "already: it was the other pack" in bench.enter("withdraw 4 no, the leads")
    assert bench.job.readings[3].reason == "it was the other pack"


def test_the_reason_for_closing_over_something_is_in_the_list(
    bench: Bench, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    said = bench.enter(INTRO + "done anyway wrong complaint picked")
    assert "closed: closed with blanks (wrong complaint picked)" in said
    assert list_jobs(tmp_path / "shop.db") == 0
    assert "closed: closed with blanks (wrong complaint picked)" in capsys.readouterr().out


def test_words_behind_yes_are_its_note(bench: Bench) -> None:
    bench.enter("it is dead\n1\nyes new chain on for the test")
    one = bench.job.readings[-1]
    assert (one.verdict != "", one.reading["kind"], one.reading["note"]) == (
        True, "yes", "new chain on for the test")  # fmt: skip


@pytest.mark.parametrize("text", ["4", "no idea", "yes and no"])
def test_what_is_neither_yes_nor_no_is_not_kept(bench: Bench, text: str) -> None:
    said = bench.enter(f"it is dead\n1\n{text}")
    assert "is not understood; type yes, no or can't tell. Nothing is kept" in said
    assert not bench.job.readings


def test_what_is_hardly_likely_is_counted(bench: Bench) -> None:
    few = bench.enter(INTRO + "pack_rest: 57.9\nbox_ohms: OL\nbox_ohms: OL\nsuspects")
    assert "more under 0.1%: suspects all" in few and "pack: known good" not in few
    every = bench.enter("suspects all")
    assert "pack: known good" in every and "suspects all" not in every
    assert "suspects all every one" in bench.enter("suspects some")


def test_every_ending_is_named_where_one_is_asked_for(bench: Bench) -> None:
    asked, listed = bench.enter(INTRO + "done"), " ".join(HELP.split())
    for end in OFFERED:
        assert f"done {end}" in asked and end in listed


DEAD = "mower is dead, wont start at all, was fine last week"


def test_the_complaint_that_was_named_is_first_and_a_close_one_no_default(tmp_path: Path) -> None:
    bench = Bench(tmp_path, "mower-battery-56v")
    assert "1. Dead - nothing happens" in bench.enter(DEAD)
    assert "Enter" not in bench.session.prompt
    assert "several are close: type the number" in bench.enter("\n")
    assert bench.session.view is None
    bench.enter("quits on hills")
    assert bench.session.prompt == "which one (Enter: 1)> "
    bench.record.log.close()


def test_the_complaint_of_an_open_job_is_changed(bench: Bench) -> None:
    bench.enter("it is dead\n2\nbox_ohms: 0.3")
    opened, read = bench.job.opened, len(bench.job.readings)
    assert opened is not None and opened.complaint != "dead"
    before = bench.session.opened.assessment.parts
    assert "2. Cuts out" in bench.enter("complaint")
    assert "Did you mean dead?" in bench.enter("complaint deat")
    assert "the complaint is now: Dead: it does not start" in bench.enter("complaint dead")
    now = bench.job.opened
    assert now is not None and now.complaint == "dead" and now.serial == opened.serial
    assert len(bench.job.live_readings) == read
    assert bench.session.opened.assessment.parts != before
    assert "that is its complaint" in bench.enter("complaint 1")
    assert "complaint [N or NAME]" in HELP


def test_undo_with_nothing_to_take_back_names_the_way_to_another_complaint(bench: Bench) -> None:
    assert "complaint NAME takes another" in bench.enter("it is dead\n1\nundo")


def test_numbers_count_in_the_machines_shown_last(tmp_path: Path) -> None:
    record, said = Record.open(tmp_path / "shop.db"), list[str]()
    clock = Clock(UTC, datetime(2026, 3, 1, 10, tzinfo=UTC))
    session = Session(record, Start(), "Ana", said.append, clock)
    session.begin()
    names = [name for name in shipped_machines() if "mower" in name]
    assert len(names) > 1
    session.enter("mower")
    assert said[-len(names):] == [f"  {i}. {n}" for i, n in enumerate(names, start=1)]
    session.enter(str(len(names) + 1))
    assert f"there are machines 1 to {len(names)}" in said[-1]
    session.enter("2")
    assert session.machine is not None
    assert f"Machine: {session.machine.it.words} ({names[1]})" in said
    record.log.close()


def elsewhere(bench: Bench, enter: Callable[[Record, str], object]) -> None:
    """Another process enters something on the job."""
    with Record.open(Path(bench.record.log.place)) as other:
        enter(other, bench.session.job_id)


def test_what_another_terminal_wrote_is_said_and_counts(bench: Bench) -> None:
    bench.enter(INTRO + "pack_rest: 57.9\nbox_ohms: OL\nbox_ohms: OL\nyes")
    sam = At(datetime(2026, 3, 1, 10, 5, tzinfo=UTC), "Sam")
    elsewhere(bench, lambda r, job: note_details(r, job, sam, customer="Mrs. Okafor"))
    said = bench.enter("note rust on the bolt")
    assert "meanwhile: Sam: customer Mrs. Okafor kept: the note" in said
    opened = bench.session.opened.job.opened
    assert opened is not None and opened.customer == "Mrs. Okafor"
    assert "meanwhile" not in bench.enter("readings\ncover use household\nreadings")


def test_an_answer_to_what_is_no_longer_asked_is_not_kept(bench: Bench) -> None:
    bench.enter(INTRO)
    kind, _, test = bench.session.ask.key.partition(" ")
    assert kind == "test"
    sam = At(datetime(2026, 3, 1, 10, 5, tzinfo=UTC), "Sam")
    elsewhere(bench, lambda r, job: take_reading(r, job, test, "skip", sam))
    said = bench.enter("0.3")
    assert "meanwhile: Sam:" in said and "Something else is asked now; not kept: 0.3" in said
    assert bench.job.readings[-1].text == "skip"


def test_who_signs_is_the_only_person_of_the_record_or_is_asked(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench.enter("it is dead\n1")
    job, record = bench.session.job_id, bench.record
    assert at_the_bench(record, "", job, asks=True) == "Ana" == person(record, "")
    note_details(record, job, At(datetime(2026, 3, 1, 10, 5, tzinfo=UTC), "Sam"), customer="Vale")
    asked: list[str] = []
    for typed, signs in (("", "Sam"), ("Lee", "Lee")):
        monkeypatch.setattr("builtins.input", lambda ask, said=typed: asked.append(ask) or said)
        assert at_the_bench(record, "", job, asks=True) == signs
    assert asked == ["who is at the bench: Sam, Ana (Enter: Sam)> "] * 2
    assert at_the_bench(record, "Kim", job, asks=True) == "Kim"
    assert person(record, "") == "somebody" and person(record, "Kim") == "Kim"
