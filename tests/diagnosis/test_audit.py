"""The audit of a machine file: what it cannot tell, what never decides, minutes to proof."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from knowngood.cli.audit import audit_file
from knowngood.diagnosis.audit import audit
from knowngood.machines.check import read_machine
from knowngood.machines.machine import Machine
from knowngood.machines.telling import telling_kind
from tests.machines.test_guide import GUIDE

FAN = GUIDE.split("```yaml\n")[1].split("```")[0]
# hardly differs with an empty pack, and takes its time
LAMP = """  lamp:
    words: Watch the lamp in the dark.
    question: does the lamp glow faintly?
    quantity: yes_no
    condition: outside
    minutes: 5
    good: no 0.98
    expect: {pack_empty: no 0.96}
"""


def machine(text: str) -> Machine:
    found, problems = read_machine(text, "fan")
    assert found is not None, [str(p) for p in problems]
    return found


def test_a_sound_file_tells_all_and_its_minutes_add_up() -> None:
    found = audit(machine(FAN))
    assert found.untold == () and found.idle == ()
    (dead,) = found.complaints
    assert dead.share == pytest.approx(1) and dead.tests
    # by hand: at least the cheapest test with its pack out and in (2 min), at most all three with
    # every cover (pack 1, grille 6, three tests of a minute)
    assert 2.0 <= dead.minutes <= 10.0 and 1.0 <= dead.steps <= 3.0


def test_a_test_that_tells_next_to_nothing_never_decides() -> None:
    text = FAN.replace("\ncomplaints:\n", "\n" + LAMP + "\ncomplaints:\n", 1)
    assert text != FAN
    idle = dict(audit(machine(text)).idle)
    assert set(idle) == {"lamp"} and "decides nothing" in idle["lamp"]


@pytest.mark.parametrize("field", ["hazard: pack", "holds: [switch_ohms]"])
def test_a_look_that_keeps_hands_safe_is_never_called_idle(
    field: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    lamp = LAMP.replace("minutes: 5\n", f"minutes: 5\n    {field}\n    look: true\n")
    text = FAN.replace("\ncomplaints:\n", "\n" + lamp + "\ncomplaints:\n", 1)
    found = audit(machine(text))
    assert found.idle == () and found.safety == ("lamp",)


def test_what_never_decides_is_named_by_its_question(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "fan.yaml"
    file.write_text(FAN.replace("\ncomplaints:\n", "\n" + LAMP + "\ncomplaints:\n", 1))
    assert audit_file(str(file)) == 0
    (line,) = [x for x in capsys.readouterr().out.splitlines() if "glow faintly" in x]
    assert line.startswith("Never change a decision (") and "lamp never" not in line


def test_two_faults_that_look_alike_ask_for_a_kind_of_test() -> None:
    start, end = FAN.index("  switch_ohms:\n"), FAN.index("\ncomplaints:\n")
    (pair,) = audit(machine(FAN[:start] + FAN[end:])).untold
    assert {pair.first, pair.second} == {"switch_open", "motor_open"}
    assert pair.kind == "ohms of switch at its own terminals, unplugged"


def test_kinds_by_what_the_fault_is() -> None:
    blower, _ = read_machine(_shipped("blower-56v"), "blower-56v")
    assert blower is not None
    assert telling_kind(blower, "fuse_open", "impeller_bad") == (
        "ohms across main fuse at its own terminals, unplugged and held")
    assert "drop across plus contact" in telling_kind(blower, "block_burnt", "impeller_bad")
    assert telling_kind(blower, "block_burnt", "pack_weak").endswith("since it shows there")
    assert "a look" in telling_kind(blower, "impeller_bad", "isolators_worn")
    assert "known good neighbour" in telling_kind(blower, "ctrl_driver", "ctrl_driver")


def _shipped(name: str) -> str:
    from knowngood.machines.shipped import load_shipped

    return load_shipped(name)


def test_the_command_prints_before_and_after(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    new, old = tmp_path / "new.yaml", tmp_path / "old.yaml"
    old.write_text(FAN, encoding="utf-8")
    faster = FAN.replace("minutes: 3\n    back_minutes: 3", "minutes: 1\n    back_minutes: 1")
    new.write_text(faster, encoding="utf-8")
    assert audit_file(str(new), str(old)) == 0
    out = capsys.readouterr().out
    assert "Every two faults" in out and "(before: " in out and "minutes on average" in out
    assert audit_file(str(new), str(old), json_out=True) == 0
    answer = json.loads(capsys.readouterr().out)
    assert answer["minutes"] < answer["before"] and answer["untold"] == []
    assert audit_file(str(tmp_path / "none.yaml")) == 2
    assert "none.yaml" in capsys.readouterr().err
