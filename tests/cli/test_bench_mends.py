"""What a person new to the bench ran into, each with the way it goes now."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from knowngood.cli import show
from knowngood.cli.bench import Clock
from knowngood.cli.bench import bench as run_bench
from knowngood.cli.show_orders import orders
from knowngood.job.job import replay
from knowngood.job.shelf import PartArrived
from knowngood.places.gather import look
from knowngood.places.library import pick_machine, shipped_machines
from knowngood.places.record import Record, Refused
from tests.cli.test_bench import INTRO, Bench
from tests.cli.test_bench_end import SHUT


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    opened = Bench(tmp_path)
    yield opened
    opened.record.log.close()


PROVEN = INTRO + "pack_rest: 57.9\nbox_ohms: OL\nbox_ohms: OL\nyes\nno: dry\n"


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


def test_a_cover_does_not_close_over_what_is_still_off(bench: Bench) -> None:
    bench.enter(PROVEN + "open plug")
    assert [s.step for s in bench.job.open_steps] == ["handle", "cover", "plug"]
    said = " ".join(bench.enter("back lift the controller cover").split())
    assert "still off inside it: unplug the controller. Put that back first" in said
    assert "back cover anyway REASON" in said
    assert len(bench.job.open_steps) == 3
    bench.enter("back cover anyway the plug waits for its pin")
    assert [s.step for s in bench.job.open_steps] == ["handle", "plug"]
    assert "the plug waits for its pin" in bench.job.notes[-1].text


def test_a_part_that_is_in_although_nothing_came_off_is_asked_about(bench: Bench) -> None:
    bench.enter(INTRO + "decide controller\nyes\nno\nno")
    asked = "nobody noted it: lift the controller cover (open cover). Was it off?"
    said = bench.enter("fitted")
    assert "kept: fitted: Controller" in said and asked in said
    assert asked in bench.enter("release")
    assert "fitted: Controller" in [n.text for n in bench.job.notes]  # it is kept all the same
    bench.enter("open cover\nback cover anyway seen")
    assert "nobody noted it" not in bench.enter("release\nfitted")
    assert bench.job.closed is None


def test_what_was_shut_before_the_part_was_decided_is_asked_about(bench: Bench) -> None:
    bench.enter(INTRO + "open cover\nback cover\ndecide controller\nyes\nno\nno")
    assert "lift the controller cover (open cover)" in bench.enter("fitted")


def test_a_part_that_lies_open_is_fitted_without_a_question(bench: Bench) -> None:
    assert "nobody noted" not in bench.enter(INTRO + "decide battery pack\nyes\nfitted")


def test_done_after_all_is_done(bench: Bench) -> None:
    bench.enter(PROVEN + f"fitted BW-210\n{SHUT}\nrelease\npass\npass")
    assert "closed: repaired" in bench.enter("done fixed")


def test_undo_reopens_before_it_takes_back(bench: Bench) -> None:
    bench.enter(PROVEN + "done scrapped")
    assert "taken back: the closing (scrapped); the job is open again" in bench.enter("undo")
    assert bench.job.closed is None and bench.job.decision is not None
    assert "taken back: Is the start box wet" in bench.enter("undo")
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


def test_a_command_that_needs_more_says_so(bench: Bench) -> None:
    bench.enter("it is dead\n1")
    said = " ".join(bench.enter("points").split())
    assert "which two points? points RED BLACK" in said and "Did you mean" not in said


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


def test_as_expected_is_seen_without_a_figure(bench: Bench) -> None:
    bench.enter(INTRO + "pack_rest: as expected")
    one = bench.job.readings[-1]
    assert (one.grade, one.text) == ("seen", "as expected, no figure taken")
    assert one.value().low == 50.0
    bench.enter("motor_ohms: 0.2")
    assert bench.job.readings[-1].grade == "measured"


def test_an_order_without_proof_is_confirmed_once(bench: Bench) -> None:
    said = bench.enter(INTRO + "order controller")
    assert "Not proven: " in said and "not yet shown out by a reading" in said
    assert bench.job.decision is None and bench.session.ask.key == "confirm"
    assert "Nothing is decided" in bench.enter("no")
    assert bench.session.ask.key != "confirm"
    bench.enter("order controller\nyes")
    decided = bench.job.decision
    assert decided is not None and not decided.proven
    said = bench.enter("undo\ncall controller")
    assert "its proof is left" in said and "Not proven: " in said


def test_names_by_words_numbers_and_parts_of_them(bench: Bench) -> None:
    bench.enter(INTRO)
    for name in ("start box", "START_BOX", "start-box"):
        bench.enter(f"call {name}")
        assert bench.job.called[-1].part == "start_box"
    bench.enter("do Pack Rest")
    assert bench.session.ask.key == "test pack_rest"
    names = shipped_machines()
    assert pick_machine("1") == names[0] and pick_machine("mower battery") == "mower-battery-56v"
    assert pick_machine("own.yaml") == "own.yaml"
    with pytest.raises(Refused, match=f"1 to {len(names)}"):
        pick_machine("999")
    with pytest.raises(Refused, match="which one"):
        pick_machine("")


def test_a_part_called_before_any_look_waits_for_the_look_at_the_pack(tmp_path: Path) -> None:
    bench = Bench(tmp_path, "string-trimmer-40v", "dead")
    assert "its proof is left" in bench.enter("call main fuse")
    assert bench.session.ask.key == "test look_pack"
    bench.enter("no")
    assert bench.session.ask.key == "test fuse_ohms"
    bench.record.log.close()


def test_enter_takes_the_one_machine(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("knowngood.places.library.shipped_machines", lambda: ("only-one",))
    assert pick_machine("") == "only-one"


def test_a_no_with_a_remark(bench: Bench) -> None:
    bench.enter("it is dead\n1\nno, stopped after 40 s")
    one = bench.job.readings[-1]
    assert one.value().kind == "no" and one.value().note == "stopped after 40 s"
    assert one.text == "no, stopped after 40 s"


@pytest.mark.parametrize("text", ["jumps around 0.2 to OL", "jumps 0.2-OL"])
def test_jumps_to_open_keep_their_words(bench: Bench, text: str) -> None:
    said = bench.enter(INTRO + f"harness_wiggle: {text}")
    assert "jumps 0.2 ohm to OL" in said, said
    assert bench.job.readings[-1].value().kind == "unsteady"


def test_the_first_step_costs_nothing_more(bench: Bench) -> None:
    said = bench.enter(INTRO)
    assert "costs" not in said
    bench.enter("undo")
    assert "costs" not in bench.enter("accept motor by Lee")


def test_one_word_for_nothing_tried(bench: Bench) -> None:
    said = bench.enter("it is dead\n1\nyes\nbanana")
    assert 'Type the numbers, "nothing"' in said and 'or "nothing"' in said


def test_a_discharged_capacitor_is_named_by_its_state(tmp_path: Path) -> None:
    bench = Bench(tmp_path, "mower-battery-56v", "dead")
    bench.enter("no\nnothing\nnone")
    machine = bench.session.opened.machine
    shut = {c.id for c in machine.conditions if "cap_safe" in c.open and not c.energised}
    test = next(t for t in machine.tests if t.condition in shut and t.quantity == "ohms")
    said = bench.enter(f"{test.id}: 0.2")
    assert "waits for the capacitor" in said
    assert "cap_safe" not in {s.step for s in bench.job.open_steps}
    assert bench.session.ask.key == "volts cap_safe"
    before = len(bench.job.readings)
    assert "Not empty" in bench.enter("31 V") and len(bench.job.readings) == before
    said = bench.enter("0.4 V")
    assert "capacitor shown discharged" in said and "done now: Wait" not in said
    assert bench.job.readings[-1].text == "0.2" and len(bench.job.readings) == before + 1
    bench.record.log.close()


def test_details_given_with_a_job_are_kept(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    bench = Bench(tmp_path)
    bench.enter(INTRO + "customer Mr. Lindqvist\nserial 4711")
    opened = bench.job.opened
    assert opened is not None and (opened.customer, opened.serial) == ("Mr. Lindqvist", "4711")
    name, store, empty = bench.job.name, tmp_path / "shop.db", tmp_path / "s.txt"
    bench.record.log.close()
    empty.write_text("quit\n")
    meter = "generic-2000"
    assert run_bench(None, None, name, meter, store, empty, serial="5001", model="BT-5") == 0
    with Record.open(store) as record:
        job = replay(record.log.events(record.log.find(name)))
    opened = job.opened
    assert opened is not None and (opened.serial, opened.model) == ("5001", "BT-5")
    assert opened.customer == "Mr. Lindqvist" and job.meter == "generic-2000"
    assert run_bench("mower-battery-56v", None, name, None, store, empty) == 2
    assert "--machine and --complaint are fixed" in capsys.readouterr().err


def test_the_volts_on_the_capacitor_come_first(tmp_path: Path) -> None:
    bench = Bench(tmp_path, "mower-battery-56v", "dead")
    bench.enter("no\nnothing\nnone")
    machine = bench.session.opened.machine
    shut = {c.id for c in machine.conditions if "cap_safe" in c.open and not c.energised}
    test = next(t for t in machine.tests if t.condition in shut and t.quantity == "ohms")
    said = bench.enter(f"do {test.id}")
    assert "Type the volts it reads" in said and bench.session.ask.key == "volts cap_safe"
    assert "what does the meter show" in bench.enter("empty")
    assert "Not empty: it must read below 1 V" in bench.enter("3 V")
    assert bench.session.ask.key == "volts cap_safe"
    assert "cap_safe" not in [s.step for s in bench.job.open_steps]
    bench.enter("0.4 V")
    assert bench.session.ask.key == f"test {test.id}"
    assert bench.job.open_steps[-1].step == "cap_safe"
    assert [n.text for n in bench.job.notes][-2:] == [
        "volts on the capacitor: 3 V", "volts on the capacitor: 0.4 V"
    ]  # fmt: skip
    bench.record.log.close()


def test_another_part_that_came_is_not_taken_for_the_one_decided_on(bench: Bench) -> None:
    bench.enter(INTRO + "order controller\nyes\nno\nno\nno\nno")
    assert bench.job.decision is not None and bench.job.decision.number == "BW-311"
    bench.record.append(bench.job.id, [PartArrived("LM102", "LM-102")], bench.session.at())
    bench.session.view = look(bench.record, bench.job.id)
    said = "\n".join(orders(bench.session.opened))
    assert "LM-102: here" in said
    assert "The controller itself is not among them." in said and "Not ordered yet" in said
    bench.record.append(bench.job.id, [PartArrived("BW311", "BW-311")], bench.session.at())
    bench.session.view = look(bench.record, bench.job.id)
    said = "\n".join(orders(bench.session.opened))
    assert "That is the part decided on." in said and "Not ordered yet" not in said


def test_shares_above_the_whole_say_why(bench: Bench) -> None:
    bench.enter(INTRO)
    view = bench.session.opened
    standing = view.assessment

    def said(*beliefs: float) -> str:
        parts = tuple(
            replace(part, belief=belief, standing="open")
            for part, belief in zip(standing.parts, beliefs, strict=False)
        )
        nobody = tuple(replace(s, belief=0.0) for s in standing.suspects)
        told = replace(view, assessment=replace(standing, parts=parts, suspects=nobody))
        return " ".join(" ".join(show.standing(told)).split())

    assert "more than 100 % in all, as some faults need several parts" in said(0.99, 0.05)
    assert "more than 100 %" not in said(0.95, 0.05)
