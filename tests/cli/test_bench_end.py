"""The end of a job at the terminal: what goes back, checks that failed, and how to stop."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from knowngood.cli.guard import Stopped, guarded
from knowngood.places.programmes import keep_notices
from tests.cli.test_bench import INTRO, Bench

PROVEN = INTRO + "pack_rest: 57.9\nbox_ohms: OL\nbox_ohms: OL\n"
DECIDED = PROVEN + "yes\nno: dry\n"
SHUT = "prove 1 0.4 ohm\nprove 2 0.4 ohm\nprove 3 good\nback"


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    opened = Bench(tmp_path)
    yield opened
    opened.record.log.close()


def test_a_failed_check_is_made_again_once_it_is_mended(bench: Bench) -> None:
    said = bench.enter(DECIDED + f"fitted\n{SHUT}\nrelease\nfail 5 s, brake worn")
    assert "it holds the machine: mend it, then release asks it again" in said
    assert "Stop: take the source out, nothing more is run" in said
    assert not bench.session.ask.key.startswith("release"), "nothing more is run"
    bench.enter("pass")
    assert [c.result for c in bench.job.release] == ["fail"]
    assert "release asks it again" in bench.enter("done repaired")
    assert "failed before: 5 s, brake worn" in bench.enter("release")
    bench.enter("fail still 4 s")  # asked once, not without end
    assert not bench.session.ask.key.startswith("release")
    assert "failed before: still 4 s" in bench.enter("release again")
    assert "say what was done about it" in bench.enter("pass")
    bench.enter("pass new brake shoe, 2 s")
    assert bench.job.release[-1].reason == "new brake shoe, 2 s"
    bench.enter("pass")  # the check that waited
    assert "All checks are made; none failed" in bench.enter("release")
    assert "closed: repaired" in bench.enter("done repaired")


def test_a_check_made_before_it_was_opened_again_is_asked_again(bench: Bench) -> None:
    bench.enter(DECIDED + f"fitted\n{SHUT}\nrelease\npass\npass\nopen cover\nback anyway seen")
    assert "lift the controller cover came off after it" in bench.enter("release")
    bench.enter("pass\npass")
    assert "closed: repaired" in bench.enter("done repaired")


def test_a_number_that_the_serial_decides_is_taken_once_it_is_known(bench: Bench) -> None:
    said = bench.enter(INTRO + "serial worn off\ndecide controller\nyes")
    wanted = "the number of controller goes by the serial, and worn off is not written like 4999"
    assert f"? {wanted}: type serial X, then decide" in said
    said = bench.enter("serial 5120\ndecide controller\nyes")
    assert "Decided: controller, part BW-311" in said and "? the number" not in said


def test_what_goes_back_is_listed_and_goes_back_one_by_one(bench: Bench) -> None:
    said = bench.enter(DECIDED + "open plug in tray 3\nfitted BW-210")
    places = [said.index(f"(back {step})") for step in ("plug", "cover", "handle")]
    assert places == sorted(places) and "lies in tray 3" in said and "8 x T25" in said
    assert "! Wait, then measure the capacitor" in said and "every wire in its rib" in said
    said = bench.enter("release")
    assert "not put back yet: unplug the controller (back plug)" in said
    assert not bench.session.ask.key.startswith("release")
    assert "next: Put back: controller cover (back cover)" in bench.enter("back")
    said = bench.enter("back handel")
    assert "Did you mean back handle?" in said and "cover (lift the controller cover)" in said
    bench.enter("back lift the controller cover anyway seen")
    assert "all is back: release asks the checks" in bench.enter("back open the anyway seen")
    assert not bench.job.open_steps
    assert "nothing is off that goes back" in bench.enter("back")


def test_the_checks_begin_with_parts_off_for_a_reason_only(bench: Bench) -> None:
    bench.enter(DECIDED)
    assert "not put back yet" in bench.enter("release anyway")
    said = bench.enter("release anyway the cover waits for its screws")
    assert "still off: open the start box (back handle)" in said
    assert bench.session.ask.key.startswith("release")
    assert "the cover waits for its screws" in bench.job.notes[-1].text


def test_why_of_what_is_proven_tells_the_proof(bench: Bench) -> None:
    said = bench.enter(PROVEN + "why")
    assert "start box closed reads OL" in said and "not controller dead: shown out by" in said
    said = bench.enter("yes\nwhy")
    assert "Decided: start box" in said and "[6] start box closed: OL (bad)" in said


def test_the_same_decision_is_not_kept_twice(bench: Bench) -> None:
    bench.enter(PROVEN + "yes")
    before = len(bench.record.log.events(bench.session.job_id))
    assert "Decided already" in bench.enter("order start box\ndecide")
    assert len(bench.record.log.events(bench.session.job_id)) == before
    bench.enter("withdraw 6 the lead slipped\nbox_ohms: OL\ndecide")
    assert len(bench.record.log.events(bench.session.job_id)) > before + 2


def test_a_name_that_is_no_test_and_a_command_alone(bench: Bench) -> None:
    bench.enter(INTRO)
    before = len(bench.job.readings)
    assert "no test 'pack_rst'. Did you mean pack_rest?" in bench.enter("pack_rst: 12.6")
    assert "no test 'battery_volts'" in bench.enter("battery_volts: 12.6")
    assert "no step 'hndle' to open. Did you mean handle?" in bench.enter("open hndle")
    assert "no test 'nope'. There are: " in bench.enter("nope: 3")
    assert "start_box is a part; here a test is wanted" in bench.enter("table start_bx")
    assert "Did you mean pack_rest?" in bench.enter("table pack_rst")
    assert "earlier reading was yes_no" in bench.enter("box_ohms: ditto")
    assert "Known: generic-2000, generic-6000" in bench.enter("meter")
    assert "withdraw N why" in bench.enter("withdraw")
    assert len(bench.job.readings) == before


def test_a_stop_says_which_job_and_how_to_go_on(
    bench: Bench, capsys: pytest.CaptureFixture[str]
) -> None:
    def stop() -> int:
        raise Stopped(bench.session.way_on())

    bench.enter("it is dead")
    assert guarded(stop) == 130
    assert "no job was opened, nothing is kept" in capsys.readouterr().err
    bench.enter("1")
    assert guarded(stop) == 130
    assert "is kept. Go on with: knowngood bench --job 26-0001" in capsys.readouterr().err


def test_a_proof_of_the_rebuild_is_answered_and_judged(bench: Bench) -> None:
    assert "nothing is off" in bench.enter("it is dead\n1\nprove")
    bench.enter("yes\nnothing\nnone\norder controller\nyes\nno\nno\nopen plug\nfitted")
    said = bench.enter("prove")
    assert "such as prove 1 0.4 ohm, OL released; prove N" in said
    assert "1. to do: Work every control" in said and "2. to do: Look along the whole joint" in said
    assert "prove N READING, N from 1 to 2" in bench.enter("prove 7 good")
    assert "what was read? prove 1 0.4 ohm, OL released" in bench.enter("prove 1")
    assert "nothing was read yet" in bench.enter("prove 1 good")
    assert "not two readings" in bench.enter("prove 1 0.4 ohm")
    assert "1 left to prove" in bench.enter("prove 1 0.4 ohm, OL released")
    for words in ("wire pinched", "no", "runs backwards", "yes"):
        assert "good or not good?" in bench.enter(f"prove 2 {words}"), words
    assert "pinch:cover" not in bench.job.apart.ticks
    assert "it holds the machine" in bench.enter("prove 2 fails: red wire pinched")
    assert "it holds the machine" in bench.enter("prove 2 not good: blue wire pinched")
    tick = bench.job.apart.ticks["pinch:cover"]
    assert (tick.result, tick.text) == ("not good", "blue wire pinched")
    assert "2. NOT GOOD (blue wire pinched)" in bench.enter("prove")
    assert "prove lists them" in bench.enter("release anyway the cover waits")
    assert "all is proven" in bench.enter("prove 2 good")


def test_the_day_of_purchase_goes_by_the_word_of_the_terminal_too(bench: Bench) -> None:
    bench.enter("it is dead\n1")
    for word, day in (("bought", "2025-05-12"), ("purchased", "2025-05-13")):
        bench.enter(f"cover {word} {day}")
        assert bench.job.paperwork.cover.purchased == day


def test_a_word_that_is_no_end_closes_nothing(bench: Bench) -> None:
    bench.enter(INTRO)
    assert "no end of a job. Did you mean fixed? Nothing was closed" in bench.enter("done fixd")
    assert "'gone' is no end of a job. A job ends as: repaired, ret" in bench.enter("done gone")
    assert bench.job.closed is None
    assert "kept: closed: returned unrepaired" in bench.enter("done returned unrepaired")


def test_a_recall_is_said_before_anything_is_run(bench: Bench) -> None:
    text = """notices:
  R-3: {words: bail cable frays, maker: Brackwater, serials: ["5000", "5999"], stop_use: true,
    source: invented for the demo}
"""
    keep_notices(bench.record, text, "recalls.yaml", bench.session.at())
    said = bench.enter("it is dead\n1")
    first = said.index("NOTICE R-3: bail cable frays: do not run it")
    assert first < said.index("Does it show here?")
