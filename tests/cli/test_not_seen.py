"""An unknown machine at the terminal: answered at the step that shows what was not seen yet."""

from __future__ import annotations

from pathlib import Path

import pytest

from knowngood.cli.bench import bench
from knowngood.cli.new_machine import new
from knowngood.machines.template import open_questions


def play(folder: Path, lines: str, *, machine: str | None, job: str | None = None) -> int:
    session = folder / "typed.txt"
    session.write_text(lines, encoding="utf-8")
    return bench(machine, "dead" if machine else None, job, None, folder / "shop.db", session,
                 by="Ada")  # fmt: skip


@pytest.fixture
def file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    assert new(Path("ours.yaml"), "string-trimmer-40v", "Our trimmer", []) == 0
    return tmp_path / "ours.yaml"


@pytest.mark.slow
def test_family_and_complaint_then_answers_at_the_step_that_shows_them(
    file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert "knowngood machine answer THIS_FILE QUESTION ANSWER" in file.read_text("utf-8")
    lines = "seen cells many\nseen cells 36 V\nseen cells 10 cells\nopen head_unit\nseen hall no\n"
    lines += "seen one_part none\n"
    assert play(file.parent, lines, machine="ours.yaml") == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "not seen yet: maker, model, cells, controls, brake. seen maker ANSWER" in said
    assert "write 10, or the volts on the label: 40 V" in said
    assert "36 V on the label: 10 cells, 36 V nominal, 40 to 42 V full" in said
    assert "kept: cells: 10 cells. The job goes on with it" in said
    opened = said.partition("> open head_unit")[2].partition(">")[0]
    assert "mind: seal in its groove" in opened  # the family's own traps, too
    assert "Has the motor Hall sensors (a plug of five thin wires). seen hall yes" in opened
    assert "cells" not in opened  # it is answered, and belongs to another step
    left = {q.id for q in open_questions(file.read_text("utf-8"))}
    assert left == {"maker", "model", "controls", "brake", "screws", "connectors", "motor_wires"}

    again = "seen\nseen motor_wires 3\nsteps all\n"  # the file was named at check-in
    assert play(file.parent, again, machine=None, job="26-0001") == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "not seen yet: Screws of the shell. seen screws 9 T20 18 mm" in said
    assert "kept: motor_wires: 3" in said
    assert "motor_halls" not in said  # the job went over to the file as answered
    assert len(open_questions(file.read_text("utf-8"))) == 6


def test_a_file_of_another_machine_is_refused_and_stays(
    file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert new(Path("other.yaml"), "chainsaw-56v", "", []) == 0
    before = (file.parent / "other.yaml").read_bytes()
    lines = "seen hall no in other.yaml\nseen hall no in none.yaml\nseen wings 2\n"
    assert play(file.parent, lines, machine="ours.yaml") == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "other.yaml is of other, this job of ours" in said
    assert "none.yaml" in said and "seen what? seen QUESTION ANSWER" in said
    assert (file.parent / "other.yaml").read_bytes() == before


def test_what_is_seen_leaves_the_comments_of_the_file(file: Path) -> None:
    text = file.read_text("utf-8").replace(
        "- seal in its groove\n", "- seal in its groove  # check twice\n"
    )
    file.write_text(f"{text}# end note: ask Ida\n", "utf-8")
    lines = "seen controls trigger: speed in ours.yaml\nseen connectors all plugs in ours.yaml\n"
    lines += "seen hall no in ours.yaml\n"
    assert play(file.parent, lines, machine="ours.yaml") == 0
    after = file.read_text("utf-8")
    assert len(open_questions(after)) == len(open_questions(text)) - 3
    assert "- seal in its groove  # check twice\n" in after
    assert after.endswith("# end note: ask Ida\n")
