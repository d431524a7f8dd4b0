"""Said again at the bench: repeats of a reading, undo of anything, going on elsewhere, no room."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from knowngood.cli.session import Session, Start
from knowngood.job.job import replay
from knowngood.places.library import find_machine, find_meter
from knowngood.places.record import Record
from tests.cli.test_bench import INTRO, SMALL, Bench
from tests.cli.test_bench_end import DECIDED, SHUT


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    opened = Bench(tmp_path)
    yield opened
    opened.record.log.close()


def test_a_repeat_shows_the_reading_just_taken_and_how_it_agrees(bench: Bench) -> None:
    bench.enter(INTRO)
    assert "[4] pack volts at rest: 57.3 V ±" in bench.enter("pack_rest: 57.3")
    said = bench.enter("pack_rest: 57.1")
    assert "[5] pack volts at rest: 57.1 V ±" in said
    assert "it agrees with the one before (57.3 V ±" in said and "together 57.2 V" in said
    said = bench.enter("pack_rest: 12.3")
    assert "[6] pack volts at rest: 12.3 V ±" in said
    assert "does not agree with the 2 before" in said and "Too close to tell" in said


def test_the_order_of_two_repeats_changes_no_belief_and_no_verdict(tmp_path: Path) -> None:
    found = []
    for name, texts in (("a", ("57.3", "57.1")), ("b", ("57.1", "57.3"))):
        (tmp_path / name).mkdir()
        bench = Bench(tmp_path / name)
        bench.enter(INTRO + "\n".join(f"pack_rest: {t}" for t in texts))
        (judged,) = [j for j in bench.session.opened.assessment.readings if j.test == "pack_rest"]
        parts = {p.id: p.belief for p in bench.session.opened.assessment.parts}
        found.append((judged.verdict, judged.clears, parts))
        bench.record.log.close()
    assert found[0][:2] == found[1][:2]
    assert found[0][2] == pytest.approx(found[1][2], rel=1e-9)


def test_an_answer_that_comes_and_goes_is_said_so(bench: Bench) -> None:
    bench.enter(INTRO)
    said = bench.enter("shows_here: no")
    assert "unlike the one before (yes): it comes and goes, or one of them is a slip" in said


def test_undo_takes_back_whatever_was_said_last(bench: Bench) -> None:
    bench.enter("it is dead\n1\nyes\nnothing")
    assert bench.session.ask.key == "look"
    assert "nothing on the list" in bench.enter("undo") and bench.session.ask.key == "told"
    bench.enter("1\nnone\nserial 77\nmodel BX-1\nnote rust")
    assert "taken back: rust" in bench.enter("undo")
    assert "taken back: model BX-1" in bench.enter("undo")
    opened = bench.job.opened
    assert opened is not None and (opened.serial, opened.model) == ("77", "BT-5")
    assert "taken back: serial 77" in bench.enter("undo")
    opened = bench.job.opened
    assert opened is not None and opened.serial == "5120"  # as it was at check-in


def test_undo_takes_back_a_cause_and_it_is_asked_again(bench: Bench) -> None:
    bench.enter(INTRO + "pack_rest: 57.9\nbox_ohms: OL\nbox_ohms: OL\nyes")
    asked = bench.session.ask.key
    assert asked.startswith("cause ")
    bench.enter("no: dry")
    assert len(bench.job.causes) == 1 and bench.session.ask.key != asked
    assert "taken back: Is the start box wet" in bench.enter("undo")
    assert not bench.job.causes and bench.session.ask.key == asked
    assert "taken back: the decision for" in bench.enter("undo")


def test_undo_of_a_release_check_asks_it_again(bench: Bench) -> None:
    bench.enter(DECIDED + SHUT + "\nrelease")
    asked = bench.session.ask.key
    bench.enter("pass")
    assert bench.session.ask.key != asked
    bench.enter("undo")
    assert bench.session.ask.key == asked and not bench.job.release


def command(*words: str) -> list[str]:
    return [sys.executable, "-m", "knowngood", "bench", *words]


def test_the_way_on_names_the_record_that_was_named(tmp_path: Path) -> None:
    store = tmp_path / "my shop.db"
    words = command("--machine", SMALL, "--complaint", "dead", "--store", str(store))
    done = subprocess.run(words, input="", capture_output=True, text=True, timeout=120)
    (again,) = re.findall(r"Go on with: knowngood (bench .*)", done.stdout)
    assert again == f"bench --job 26-0001 --store '{store}'"


@pytest.mark.skipif(os.name == "nt", reason="no limit on the size of a file there")
@pytest.mark.parametrize("how", ["file", "pipe"])
def test_a_full_disk_ends_a_session_that_nobody_types(tmp_path: Path, how: str) -> None:
    """The size of a file is limited while it runs, as on a disk without room: what was answered
    before is kept, the code is 2."""
    lines = INTRO + "".join(f"note {n} {'x' * 4000}\n" for n in range(400)) + "pack_rest: 57.9\n"
    (tmp_path / "session.txt").write_text(lines, encoding="utf-8")
    store = tmp_path / "shop.db"
    words = ["bench", "--machine", SMALL, "--complaint", "dead", "--store", str(store)]
    if how == "file":
        words += ["--session", str(tmp_path / "session.txt")]
    program = (
        "import resource, signal, sys; signal.signal(signal.SIGXFSZ, signal.SIG_IGN);"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (900_000, 900_000));"
        "from knowngood.cli import main; sys.exit(main(sys.argv[1:]))"
    )
    done = subprocess.run(
        [sys.executable, "-c", program, *words], input=lines if how == "pipe" else "",
        capture_output=True, text=True, timeout=300,
    )  # fmt: skip
    assert done.returncode == 2, done.stdout[-2000:] + done.stderr
    said = " ".join(done.stdout.split())
    assert "this entry was not stored" in said
    assert "that line and those after it are not kept" in said
    assert "All is kept" not in said and "What was entered before is kept" in said
    assert "Traceback" not in done.stdout + done.stderr
    kept = done.stdout.count("kept: the note")
    with Record.open(store, make=False) as record:
        job = replay(record.log.events(record.log.find("26-0001")))
    assert kept > 5 and len(job.notes) == kept + 1  # and that nothing was tried before


def test_two_readings_that_jump_over_the_same_values_agree(bench: Bench) -> None:
    bench.enter(INTRO + "harness_wiggle: jumps 0.7 to OL")
    said = bench.enter("harness_wiggle: jumps 0.8 to OL")
    assert "jumps 0.8 ohm to OL" in said and ", as before. Not good" in said
    assert "does not agree" not in said
    bench.enter("harness_rest: jumps 1 to 4")
    assert "does not agree" in bench.enter("harness_rest: jumps 40 to 900")


def test_a_session_that_ends_at_any_line_goes_on_at_the_same_question(tmp_path: Path) -> None:
    """From the first line with a job to the last: what a new session on the same record asks is
    what the one that goes on asks."""
    bench, compared = Bench(tmp_path), set()
    lines = [
        *INTRO.splitlines(), "box_ohms: OL", "OL", "why", "box_ohms: undo", "undo", "OL",
        "pack_rest: 57.9", "yes", "yes: green on the tabs", "done", "note screws on top", "1",
    ]  # fmt: skip
    for line in lines:
        bench.enter(line)
        if bench.session.view is None:
            continue
        said: list[str] = []
        start = Start(find_machine(SMALL), "", find_meter("generic-6000"))
        other = Session(bench.record, start, "Ana", said.append, bench.clock, folder=tmp_path)
        other.go_on(bench.session.job_id)
        assert (other.ask.key, other.ask.prompt) == (
            bench.session.ask.key, bench.session.ask.prompt
        ), line  # fmt: skip
        compared.add(other.ask.key)
    assert len(compared) >= 5, compared
    bench.record.log.close()


def again(bench: Bench) -> str:
    """The same job taken up in another session; what that says at once."""
    job, before = bench.session.job_id, len(bench.said)
    bench.session = Session(bench.record, Start(), "Ana", bench.said.append, bench.clock)
    bench.session.go_on(job)
    return " ".join(" ".join(bench.said[before:]).split())


def test_coming_back_in_the_midst_of_the_release_checks_goes_on_with_them(tmp_path: Path) -> None:
    bench = Bench(tmp_path)
    bench.enter(DECIDED + f"fitted\n{SHUT}\nrelease\npass\nquit")
    checks = len(bench.session.opened.machine.release)
    left = [c.id for c in bench.session.opened.machine.release][1]
    said = again(bench)
    assert f"1 of {checks} release checks are made; they go on here" in said
    assert bench.session.ask.key == f"release {left}"
    bench.enter("fail 5 s")
    assert "release checks are made" not in again(bench), "what failed is mended first"
    bench.record.log.close()


def test_a_bare_number_is_not_what_the_customer_says(tmp_path: Path) -> None:
    bench = Bench(tmp_path)
    for text in ("1", "12.4", "?"):
        assert "is not what a customer says" in bench.enter(text)
        assert bench.session.words == "" and bench.session.ask.key == "words"
    bench.enter("it is dead, code 1")
    assert bench.session.words == "it is dead, code 1" and bench.session.ask.key == "complaint"
    bench.record.log.close()
