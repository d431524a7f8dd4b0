"""What a person new to the bench ran into, each with the way it goes now."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from knowngood.cli.bench import Clock
from tests.cli.test_bench import INTRO, Bench


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    opened = Bench(tmp_path)
    yield opened
    opened.record.log.close()


PROVEN = INTRO + "pack_rest: 57.9\nbox_ohms: OL\nyes\nno: dry\n"


def test_a_claim_with_the_clock_of_this_computer(tmp_path: Path) -> None:
    bench = Bench(tmp_path)
    bench.clock.set_to = None
    said = bench.enter(PROVEN + "claim live.pdf")
    assert "written:" in said and (tmp_path / "live.pdf").read_bytes()[:5] == b"%PDF-"
    assert bench.session.at().now.microsecond == 0 == Clock()().microsecond
    bench.record.log.close()


def test_done_names_what_is_blank(bench: Bench) -> None:
    said = bench.enter(PROVEN + "done fixed")
    assert "2 checks are blank: Blade seen still" in said and "not put back: open the start" in said
    assert "not noted as fitted: Start box" in said and "`done anyway REASON`" in said
    assert bench.job.closed is None
    assert "why?" in bench.enter("done anyway")
    bench.enter("done anyway customer wanted it tonight")
    closed = bench.job.closed
    assert closed is not None and closed.outcome == "closed with blanks"
    assert "customer wanted it tonight. Left: 2 checks are blank" in closed.words


def test_done_after_all_is_done(bench: Bench) -> None:
    bench.enter(PROVEN + "fitted BW-210\nback handle\nrelease\npass\npass")
    assert "closed: repaired" in bench.enter("done fixed")


def test_undo_reopens_before_it_takes_back(bench: Bench) -> None:
    bench.enter(PROVEN + "done scrapped")
    assert "taken back: the closing (scrapped); the job is open again" in bench.enter("undo")
    assert bench.job.closed is None and bench.job.decision is not None
    assert "taken back: the decision for" in bench.enter("undo")
    assert bench.job.decision is None


def test_causes_are_only_said_to_be_answered_when_they_were(bench: Bench) -> None:
    bench.enter(INTRO)
    said = bench.enter("order controller\nyes")
    assert "Is grass packed under the deck?" in said or "Does the motor turn stiffly" in said
    said = bench.enter("can't tell\nyes")
    assert "Causes still open:" in said and "cleared" not in said


def test_a_part_without_listed_causes_says_so(bench: Bench) -> None:
    said = bench.enter(INTRO + "order pack\nyes")
    assert "No cause is listed for this fault; note what you see with `note`" in said


def test_the_verify_step_is_not_lost(bench: Bench) -> None:
    bench.enter("it is dead\n1")
    first = bench.session.ask.key
    assert first == "test shows_here"
    for typo in ("stesp", "undoo", "perhaps"):
        assert "is not understood" in bench.enter(typo)
        assert bench.session.ask.key == first and not bench.job.readings
    bench.enter("12 V")  # looks like a reading: kept, and asked again
    assert bench.job.readings[-1].value().kind == "none" and bench.session.ask.key == first
    bench.enter("yes")
    assert bench.session.ask.key == "told"
    bench.enter("undo")
    assert bench.session.ask.key == first
    bench.enter("yes\nnothing\nnone\nverify")
    assert bench.session.ask.key == first
    said = bench.enter("steps all")
    assert all(f"{t.id}: " in said for t in bench.session.opened.machine.tests if not t.generated)
