"""The bench as a process: killed, cut off, stopped, started with wrong names."""

from __future__ import annotations

import contextlib
import os
import random
import re
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from knowngood.cli import main
from knowngood.job.job import replay
from knowngood.store.log import Log

SMALL = str(Path(__file__).parents[1] / "places" / "small.yaml")
INTRO = "it is dead\n1\nyes\nnothing\nnone\n"


def command(*words: str) -> list[str]:
    return [sys.executable, "-m", "knowngood", "bench", *words]


class Process:
    """The bench in a process of its own, forked from this one so that it is there at once."""

    def __init__(self, *words: str) -> None:
        to_child, from_child = os.pipe(), os.pipe()
        self.pid = os.fork()
        if self.pid == 0:
            os.dup2(to_child[0], 0)
            os.dup2(from_child[1], 1)
            for end in (*to_child, *from_child):
                os.close(end)
            sys.stdin, sys.stdout = os.fdopen(0), os.fdopen(1, "w")
            try:
                os._exit(main(["bench", *words]))
            finally:
                os._exit(70)
        os.close(to_child[0])
        os.close(from_child[1])
        self.stdin = os.fdopen(to_child[1], "w")
        self.stdout = os.fdopen(from_child[0])

    def send(self, line: str) -> None:
        self.stdin.write(f"{line}\n")
        self.stdin.flush()

    def wait_for(self, pattern: str) -> None:
        """Read what it says until a line matches: that is the acknowledgement."""
        for line in self.stdout:
            if re.search(pattern, line):
                return
        pytest.fail(f"never said {pattern!r}")

    def kill(self) -> None:
        os.kill(self.pid, signal.SIGKILL)
        assert os.waitstatus_to_exitcode(os.waitpid(self.pid, 0)[1]) == -signal.SIGKILL
        self.stdout.close()
        with contextlib.suppress(BrokenPipeError):
            self.stdin.close()


@pytest.mark.skipif(not hasattr(os, "fork"), reason="no fork there")
def test_killed_anywhere_nothing_acknowledged_is_lost(tmp_path: Path) -> None:
    """Sixteen kills, each after an entry was acknowledged and another was on its way."""
    store = str(tmp_path / "shop.db")
    dice = random.Random(7)
    first = Process("--machine", SMALL, "--complaint", "dead", "--store", store)
    first.wait_for("^Job 26-0001")
    first.kill()
    acknowledged: list[str] = []
    for turn in range(16):
        process = Process("--job", "26-0001", "--store", store)
        text = f"{50 + turn * 0.25:.2f}"
        process.send(f"pack_rest: {text}")
        process.wait_for(rf"^\[{turn + 1}\] pack volts at rest: .*±")
        acknowledged.append(text)
        process.send(f"note on its way {turn}")
        time.sleep(dice.uniform(0, 0.12))
        process.kill()
    with Log.open(store) as log:
        job = replay(log.events(log.find("26-0001")))
    assert [r.text for r in job.readings] == acknowledged
    assert all(r.judged is not None for r in job.readings)
    assert [r.value().value for r in job.readings] == [float(t) for t in acknowledged]


@pytest.mark.skipif(not hasattr(os, "fork"), reason="no fork there")
def test_killed_after_what_was_tried_looked_at_and_why_it_failed(tmp_path: Path) -> None:
    """A kill right after each of these was acknowledged; the next process asks what comes then."""
    store = str(tmp_path / "shop.db")
    first = Process("--machine", SMALL, "--complaint", "dead", "--store", store)
    first.wait_for("^Job 26-0001")
    first.kill()

    def entered(lines: str, acknowledged: str) -> None:
        process = Process("--job", "26-0001", "--store", store)
        for line in lines.splitlines():
            process.send(line)
        process.wait_for(acknowledged)
        process.kill()

    entered("yes", r"^\[1\] ")
    entered("1", r"^kept: ")
    with Log.open(store) as log:
        assert len(replay(log.events(log.find("26-0001"))).told) == 1
    entered("1", r"looked good|^\[2\] ")
    entered("pack_rest: 57.9\nbox_ohms: OL\nbox_ohms: OL\nyes", r"^Decided: start box")
    entered("no: dry", r"^kept: .*: no")
    with Log.open(store) as log:
        job = replay(log.events(log.find("26-0001")))
    assert [r.text for r in job.live_readings][:2] == ["yes", "no"] and len(job.told) == 1
    assert job.decision is not None and [c.answer for c in job.causes] == ["no"]


def test_the_end_of_input_keeps_all_and_says_how_to_go_on(tmp_path: Path) -> None:
    store = str(tmp_path / "shop.db")
    done = subprocess.run(
        command("--machine", SMALL, "--store", store), input=INTRO + "pack_rest: 57.9",
        capture_output=True, text=True, timeout=60,
    )  # fmt: skip
    assert done.returncode == 0 and done.stderr == ""
    assert "Go on with: knowngood bench --job 26-0001" in done.stdout
    again = subprocess.run(
        command("--job", "26-0001", "--store", store), input="", capture_output=True, text=True,
        timeout=60,
    )  # fmt: skip
    assert "pack volts at rest: 57.9 (good)" in again.stdout


@pytest.mark.skipif(os.name == "nt", reason="no pseudo-terminals there")
def test_a_person_at_a_terminal_may_stop_anywhere(tmp_path: Path) -> None:
    import pexpect

    words = command("--machine", SMALL, "--store", str(tmp_path / "shop.db"))
    person = pexpect.spawn(words[0], words[1:], timeout=30, encoding="utf-8")
    person.expect("what does the customer say> ")
    person.sendline("it is dead")
    person.expect("which one .Enter: 1.> ")
    person.sendline("")
    person.expect("does it fail here> ")
    person.sendintr()
    person.expect("stopped; everything entered so far is kept")
    person.expect(pexpect.EOF)
    person.close()
    assert person.exitstatus == 130


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--machine", "mower-battery-56"], "Did you mean mower-battery-56v?"),
        (["--machine", SMALL, "--complaint", "ded"], "Did you mean dead?"),
        (["--machine", SMALL, "--meter", "generic"], "no meter 'generic'"),
        (["--complaint", "dead"], "--complaint needs --machine"),
        (["--job", "26-0009"], "There is no record"),
        (["--session", "none.txt"], "cannot be read"),
    ],
)
def test_wrong_names_end_at_once_with_the_way_out(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], words: list[str], told: str
) -> None:
    code = main(["bench", "--store", str(tmp_path / "shop.db"), *words])
    assert code == 2
    assert told in capsys.readouterr().err
