"""What was entered at the bench is doubted, taken back, explained and noted as people type it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from knowngood.cli.jobs import list_jobs
from knowngood.cli.show import HELP
from knowngood.places.ends import OFFERED
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
