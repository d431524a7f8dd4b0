"""No command ends in a traceback: stops, closed pipes, wrong options, faults of the program."""

from __future__ import annotations

import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from pytest import CaptureFixture, MonkeyPatch

from knowngood.cli import main
from knowngood.cli.guard import guarded


def raises(error: BaseException) -> int:
    raise error


def test_a_stop_says_what_is_kept(capsys: CaptureFixture[str]) -> None:
    assert guarded(lambda: raises(KeyboardInterrupt())) == 130
    assert capsys.readouterr().err == "stopped; everything entered so far is kept\n"


def test_a_stop_that_fails_something_else_is_a_stop(capsys: CaptureFixture[str]) -> None:
    def loads() -> int:
        try:
            raise KeyboardInterrupt
        except KeyboardInterrupt:
            raise ImportError("half loaded") from None

    assert guarded(loads) == 130
    assert capsys.readouterr().err == "stopped; everything entered so far is kept\n"


# Says so when the program begins to load itself: before that, Python itself is being stopped.
DOOR = """
import sys
class Seen:
    def find_spec(self, name, path=None, target=None):
        if name == "knowngood.cli":
            sys.meta_path.remove(self)
            print("loading", flush=True)
sys.meta_path.insert(0, Seen())
from knowngood.__main__ import main
sys.exit(main())
"""


@pytest.mark.parametrize("after", [0.0, 0.005, 0.02, 0.05, 0.1, 0.2, 0.4, 0.8])
def test_a_stop_while_the_program_still_loads_is_one_line(after: float) -> None:
    command = [sys.executable, "-c", DOOR, "table", "--machine", "mower-battery-56v"]
    process = subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )  # fmt: skip
    assert process.stdout is not None and process.stdout.readline() == "loading\n"
    time.sleep(after)
    process.send_signal(signal.SIGINT)
    _, said = process.communicate(timeout=60)
    if process.returncode == 130:
        assert said == "stopped; everything entered so far is kept\n"
    else:  # it was done before
        assert after > 0.05 and process.returncode in (0, -signal.SIGINT) and said == ""


def test_the_code_of_a_command_passes_through() -> None:
    assert [guarded(lambda: 3), guarded(lambda: 0), guarded(lambda: None)] == [3, 0, 0]


def test_a_fault_is_noted_in_a_file(
    capsys: CaptureFixture[str], monkeypatch: MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    assert guarded(lambda: raises(ValueError("seven\nis not eight"))) == 70
    said = capsys.readouterr().err.splitlines()
    (note,) = tmp_path.iterdir()
    assert said[0].endswith("ValueError: seven") and str(note) in said[1] and len(said) == 2
    assert "Traceback" in note.read_text() and "is not eight" in note.read_text()


def test_a_fault_is_told_where_no_note_can_be_written(
    capsys: CaptureFixture[str], monkeypatch: MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path / "missing"))
    assert guarded(lambda: raises(ValueError("seven"))) == 70
    assert "could not be written" in capsys.readouterr().err


@pytest.mark.parametrize(
    "typed", [["isolate"], ["isolate", "--bogus"], ["bogus"], ["plan", "--nodes", "x"], []]
)
def test_a_wrong_command_line_exits_2(typed: list[str], capsys: CaptureFixture[str]) -> None:
    assert main(typed) == 2
    assert "Usage: knowngood" in "".join(capsys.readouterr())


def test_a_reader_that_goes_away_ends_it_quietly() -> None:
    lines = "from knowngood.cli.guard import guarded; import sys; sys.exit(guarded(lambda: "
    lines += "[print(i) for i in range(200_000)] and 0))"
    pipe = subprocess.Popen(
        [sys.executable, "-c", lines], stdout=subprocess.PIPE, stderr=subprocess.PIPE
    )
    assert pipe.stdout is not None and pipe.stderr is not None
    pipe.stdout.readline()
    pipe.stdout.close()
    assert pipe.stderr.read() == b""
    assert pipe.wait(20) == 1
    pipe.stderr.close()


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no /dev/full on this system")
@pytest.mark.parametrize("typed", [["table", "--machine", "tests/places/small.yaml"], ["--help"]])
def test_a_full_disk_under_the_output_is_said_with_the_way_out(
    typed: list[str], root: Path
) -> None:
    with open("/dev/full", "w", encoding="utf-8") as full:
        done = subprocess.run(
            [sys.executable, "-m", "knowngood", *typed], stdout=full, stderr=subprocess.PIPE,
            text=True, cwd=root, check=False,
        )  # fmt: skip
    assert (done.returncode, len(done.stderr.splitlines())) == (2, 1), done.stderr
    assert "no room left" in done.stderr and "make room" in done.stderr


def test_help_loads_nothing_that_computes() -> None:
    heavy = {"numpy", "scipy", "pydantic", "sqlalchemy", "typst", "rich", "ruamel"}
    code = "import sys; from knowngood.cli import main; main(['--help']); "
    code += f"print({heavy} & set(sys.modules))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "set()"
