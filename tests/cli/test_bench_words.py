"""What is asked, said and taken at the bench agrees with itself."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from knowngood.cli import show
from knowngood.cli.commands import command_in
from tests.cli.test_bench import INTRO, SMALL, Bench


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    opened = Bench(tmp_path)
    yield opened
    opened.record.log.close()


@pytest.fixture
def looked_at(tmp_path: Path) -> Iterator[Bench]:
    """The small machine, where the harness as measured says whether it is stretched, and the looks
    want the lid up."""
    text = Path(SMALL).read_text(encoding="utf-8")
    changes = {
        "fold: {words:": "fold: {read_by: [harness_rest], words:",
        'outside: {words: "the pack out, nothing opened"}':
            'outside: {words: "the pack out, the lid up", open: [lid]}',
        "teardown:\n": "teardown:\n  lid: {words: lift the lid, minutes: 1, back_minutes: 1,"
                       " caution: mind the edge}\n",
    }  # fmt: skip
    for old, new in changes.items():
        assert old in text
        text = text.replace(old, new)
    file = tmp_path / "looked.yaml"
    file.write_text(text, encoding="utf-8")
    opened = Bench(tmp_path, str(file))
    yield opened
    opened.record.log.close()


def test_a_cause_against_a_reading_is_asked_once_more(looked_at: Bench) -> None:
    said = looked_at.enter(INTRO + "pack_rest: 57.9\nharness_rest: OL\nharness_rest: OL\n\n")
    assert "Is the harness stretched" in said
    said = looked_at.enter("no: looks fine")
    assert "that does not go with [" in said and "harness end to end OL (bad)" in said
    assert not looked_at.job.causes
    looked_at.enter("no: looks fine")
    assert [(c.cause, c.answer) for c in looked_at.job.causes] == [("fold", "no")]


def test_a_cause_that_goes_with_the_reading_is_taken_at_once(looked_at: Bench) -> None:
    looked_at.enter(INTRO + "pack_rest: 57.9\nharness_rest: OL\nharness_rest: OL\n\nyes: nicked")
    assert [(c.cause, c.answer) for c in looked_at.job.causes] == [("fold", "yes")]


def test_what_has_to_be_off_stands_before_the_looks(looked_at: Bench) -> None:
    said = looked_at.enter("it is dead\n1\nyes\nnothing")
    assert "Look first, no tool needed: first: lift the lid ! mind the edge 1." in said


@pytest.mark.parametrize("line", ["start box closed: OL", "Box ohms: OL", "box_ohms: OL"])
def test_a_reading_is_taken_by_what_the_step_asks(bench: Bench, line: str) -> None:
    bench.enter(INTRO + line)
    assert (bench.job.readings[-1].test, bench.job.readings[-1].text) == ("box_ohms", "OL")


def test_words_with_a_colon_that_name_no_step_are_no_reading_of_one(bench: Bench) -> None:
    bench.enter(INTRO)
    assert command_in(bench.session, "green wire: 5 V") is None


@pytest.mark.parametrize(("lines", "word"), [("it is dead\n1\nyes", "tried"),
                                             ("it is dead\n1\nyes\nnothing", "glance")])
def test_why_says_something_at_a_list(bench: Bench, lines: str, word: str) -> None:
    bench.enter(lines)
    assert word in bench.enter("why") and "of which test" not in bench.said[-1]


def test_the_plan_asks_its_questions_and_names_numbers_of_the_plate(bench: Bench) -> None:
    said = bench.enter(INTRO + "plan")
    assert "Pack volts at rest" in said and "order Controller BW-311" in said
    assert "BW-310" not in said  # the serial of this one is 5120, from 5000 on it is BW-311


def test_the_plan_begins_with_what_is_to_be_read_once_more(bench: Bench) -> None:
    from dataclasses import replace

    from knowngood.places.plan import plan_lines, plan_tree

    bench.enter(INTRO)
    view = bench.session.opened
    tree = plan_tree(view.setup, view.evidence, most=9, deadline=None, max_expansions=50)
    lines = list(plan_lines(replace(tree, again=("box_ohms",))))
    assert lines[0].startswith("First once more, with the probes set anew: Measure the start box")
    assert lines[1].strip().startswith("as before: go on here")


def test_several_pairs_are_told_pair_by_pair(tmp_path: Path) -> None:
    bench = Bench(tmp_path, "mower-battery-56v", "dead")
    machine = bench.session.opened.machine
    test = next(t for t in machine.tests if t.id == "bridge_diode")
    lines = list(show.leads(machine, test))
    assert len(lines) == 6
    assert lines[0] == "  1. red controller input minus; black phase U of the controller"
    assert lines[5] == "  6. red phase W of the controller; black controller input plus"
    bench.record.log.close()


def test_what_is_live_says_what_is_off(tmp_path: Path) -> None:
    bench = Bench(tmp_path, "chainsaw-56v", "dead")
    session = bench.session
    tests = {t.id: t for t in session.opened.machine.tests}
    assert session.live_and_open(tests["verify"])
    said = session.live_while(tests["verify"])
    assert "shell" not in said and "this done: sprocket cover, chain and bar off" in said
    assert session.live_while(tests["input_volts"]) == "Energised with the shell open"
    bench.record.log.close()


def test_a_person_hears_what_takes_its_time(tmp_path: Path) -> None:
    bench = Bench(tmp_path)
    bench.session.typed = True
    said = bench.enter("it is dead\n1")
    assert said.index("Working out what each step would show") < said.index("Job 26-0001")
    bench.record.log.close()


def test_stopped_while_a_job_opens_it_is_not_said_that_none_was(bench: Bench) -> None:
    assert bench.session.way_on("26-0007").endswith("--job 26-0007")
    assert "nothing is kept" in bench.session.way_on()
    bench.session.opening = True
    bench.session.store = " --store other.db"
    assert "knowngood job list --store other.db shows it" in bench.session.way_on()
