"""An unknown machine: family alone, then answers; three invented machines pass the check."""

from __future__ import annotations

from pathlib import Path

import pytest

from knowngood.cli.new_machine import answer, new
from knowngood.machines.check import read_machine, report_text
from knowngood.machines.machine import Machine
from knowngood.machines.template import (
    QUESTIONS,
    AnswerError,
    answered,
    new_file,
    open_questions,
)


def sound(text: str) -> Machine:
    machine, problems = read_machine(text, "mine")
    assert machine is not None, "\n".join(str(p) for p in problems)
    return machine


@pytest.mark.parametrize("family", ["hedge-trimmer-36v", "trimmer-2stroke", "pack-charger-56v"])
def test_the_family_alone_is_enough_to_work_with(family: str) -> None:
    text = new_file("mine", family, "", {})
    machine = sound(text)
    assert machine.family and machine.complaints and machine.tests
    asked = [t for s in machine.teardown for t in s.traps if t.startswith("not seen yet: ")]
    assert len(asked) == len(open_questions(text)) >= 3


def test_a_question_stands_at_the_step_that_shows_it() -> None:
    machine = sound(new_file("mine", "chainsaw-56v", "", {}))
    traps = {s.id: " ".join(s.traps) for s in machine.teardown}
    assert "(cells," in traps["pack_out"] and "(hall," in traps["shell"]
    text = answered(new_file("mine", "chainsaw-56v", "", {}), "hall", "no")
    assert "(hall," not in text
    machine = sound(text)
    assert "motor_hall" not in {f.id for f in machine.faults}
    assert "motor_halls" not in {t.id for t in machine.tests}


MACHINES = {  # all invented
    "hedge-trimmer-36v": {"maker": "Tolmin", "model": "TX-18", "cells": "18 V",
                          "screws": "8 T15 14 mm", "one_part": "front_switch, switch_harness"},
    "chainsaw-56v": {"maker": "Brackwater", "model": "BS-40", "cells": "10", "hall": "no",
                     "one_part": "brake_set, brake_switch", "connectors": "all plugs"},
    "blower-56v": {"maker": "Fenwick & Rowe", "model": "FR-80", "cells": "20",
                   "controls": "trigger with speed, cruise", "one_part": "motor, impeller"},
}  # fmt: skip


@pytest.mark.parametrize("family", MACHINES)
def test_three_machines_described_by_answers(family: str) -> None:
    text = new_file("mine", family, "An unknown one", MACHINES[family])
    machine, report = report_text(text, "mine")
    assert machine is not None, [str(p) for p in report.problems]
    cells = {"18 V": 5}.get(MACHINES[family]["cells"]) or int(MACHINES[family]["cells"])
    assert machine.full_volts == pytest.approx(4.2 * cells)  # 4.2 V a full lithium-ion cell
    limits = {t.id: t.limits for t in machine.tests}["pack_charged"]
    # full at 4.05 to 4.2 V a cell (common practice), the meter's doubt on top
    assert limits is not None and limits.low == pytest.approx(4.05 * cells, rel=0.01)
    assert limits.high == pytest.approx(4.2 * cells, rel=0.03)
    merged, gone = MACHINES[family]["one_part"].split(", ")
    parts = {p.id for p in machine.parts}
    assert merged in parts and gone not in parts
    left = {q.id for q in open_questions(text)}
    assert left == {q.id for q in QUESTIONS} - set(MACHINES[family])
    if 4.2 * cells > 60:  # no open live test above 60 V dc
        assert not any(c.energised and c.volts is None and "shell" in c.open
                       for c in machine.conditions)


def test_answers_keep_comments_and_order_and_may_change() -> None:
    text = new_file("mine", "blower-56v", "Mine", {"cells": "20"})
    text = text.replace("words: Mine\n", "words: Mine  # as Ida calls it\n# my own line\n")
    after = answered(answered(text, "hall", "yes"), "model", "X 9")
    assert "# as Ida calls it" in after and "# my own line" in after
    kept = [line for line in text.splitlines() if "not seen yet" not in line]
    at = 0
    for line in after.splitlines():
        at += at < len(kept) and line == kept[at]
    assert at == len(kept)  # every old line, in its old order
    back = sound(answered(after, "cells", "14"))
    assert back.full_volts == pytest.approx(58.8) and "live" in {c.id for c in back.conditions}


def test_answers_that_cannot_be_used_say_what_to_write() -> None:
    text = new_file("mine", "blower-56v", "", {})
    for id, said, words in [
        ("cells", "many", "write 10"), ("cells", "0", "write 10"), ("cells", "900", "write 10"),
        ("hall", "perhaps", "write yes or no"), ("screws", "some", "count, drive and length"),
        ("one_part", "motor", "two or more"), ("one_part", "motor, sail", "sail"),
        ("colour", "red", "there are maker"), ("model", "  ", "write it like"),
    ]:  # fmt: skip
        with pytest.raises(AnswerError, match=words):
            answered(text, id, said)
    with pytest.raises(AnswerError, match="no pack"):
        answered(new_file("mine", "mower-4stroke", "", {}), "cells", "10")
    with pytest.raises(AnswerError, match="on no family"):
        answered("machine: a\n", "model", "X")


def test_the_commands(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "ida.yaml"
    assert new(file, "blower-56v", "Ida's blower", ["cells=14", "hall=yes"]) == 0
    assert "not seen yet" in capsys.readouterr().out and file.exists()
    assert answer(file, "screws", "9 T20 18 mm") == 0
    assert new(file, "blower-56v", "", []) == 2 and "already" in capsys.readouterr().err
    assert new(tmp_path / "b.yaml", "bower", "", []) == 2
    assert "Did you mean" in capsys.readouterr().err
    assert new(tmp_path / "b.yaml", "blower-56v", "", ["cells"]) == 2
    assert new(tmp_path / "b.yaml", "blower-56v", "", ["cells=-"]) == 2
    before = file.read_text(encoding="utf-8")
    assert answer(file, "hall", "blue") == 2 and file.read_text(encoding="utf-8") == before
    assert not (tmp_path / "b.yaml").exists()
