"""A proven part without a number says how the number gets into the machine's file."""

from __future__ import annotations

from pathlib import Path

import pytest

from knowngood.cli import main
from knowngood.cli.bench import bench
from tests.machines.test_guide import GUIDE


def play(folder: Path, lines: str, machine: str | None, job: str | None = None) -> int:
    session = folder / "typed.txt"
    session.write_text(lines, encoding="utf-8")
    return bench(machine, "dead" if machine else None, job, None, folder / "shop.db", session,
                 by="Ada")  # fmt: skip


def test_the_way_is_said_goes_and_leads_to_the_number(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    file = tmp_path / "fan.yaml"
    file.write_text(GUIDE.split("```yaml\n")[1].split("```")[0], "utf-8")
    lines = "switch_ohms: >40 Mohm\n" * 2 + "pack_volts: 20.6 V\n"
    assert play(tmp_path, lines, "fan.yaml") == 0
    said = capsys.readouterr().out
    assert "Proven: order switch\n" in said
    assert f"knowngood machine number {file} switch NUMBER --read-at " in said
    assert main(["machine", "number", str(file), "switch", "FR-9200", "--read-at", "its side"]) == 0
    assert play(tmp_path, "newer\n", None, "26-0001") == 0
    said = capsys.readouterr().out.partition("> newer")[2]
    assert "Proven: order switch, part FR-9200 (read at: its side)" in said
    assert "machine number" not in said
