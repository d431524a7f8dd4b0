"""`knowngood machine check` as it is typed."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from knowngood.cli import main

from .tiny import TINY, broken, line_with


@pytest.mark.slow
def test_a_shipped_machine_by_name(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["machine", "check", "mower-battery-56v"]) == 0
    told = capsys.readouterr()
    assert "sound" in told.out and "0 pairs of faults" in told.out and told.err == ""


def test_each_problem_with_file_line_and_fix(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = broken(("price: 50", "price: -2"), ("weight: 1}", "wieght: 1}"))
    file = tmp_path / "fan.yaml"
    file.write_text(text, encoding="utf-8")
    assert main(["machine", "check", str(file)]) == 2
    told = capsys.readouterr()
    assert told.out == "" and "It must be at least 0\n" in told.err
    lines = told.err.splitlines()
    assert f"{file}, line {line_with(text, 'price: -2')}: parts.pack.price is -2" in lines[0]
    assert any("Did you mean weight?" in x for x in lines)
    assert lines[-1] == f"3 problems in {file}"


def test_one_of_a_kind_is_no_plural(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "fan.yaml"
    file.write_text(TINY, encoding="utf-8")
    assert main(["machine", "check", str(file)]) == 0
    assert re.search(r"sound\. .* 2 faults, .* 1 complaint\.\n", capsys.readouterr().out)


def test_json_for_scripts(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "fan.yaml"
    file.write_text(broken(("parts: pack, weight", "parts: pakc, weight")), encoding="utf-8")
    assert main(["machine", "check", str(file), "--json"]) == 2
    answer = json.loads(capsys.readouterr().out)
    assert answer["sound"] is False
    assert {"file", "line", "message", "fix"} == set(answer["problems"][0])
    file.write_text(TINY, encoding="utf-8")
    assert main(["machine", "check", str(file), "--json"]) == 0
    answer = json.loads(capsys.readouterr().out)
    assert answer["sound"] is True and answer["problems"] == []
    assert {p["fault"] for p in answer["proofs"]} == {"pack_dead", "switch_open"}


def test_an_unknown_name_offers_the_nearest(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["machine", "check", "mower-batery-56v"]) == 2
    assert "Did you mean mower-battery-56v?" in capsys.readouterr().err


@pytest.mark.parametrize(
    "raw", [b"", b"\xff\xfe\x00m", b"machine: \x80", b"\x00" * 100, b"[" * 9999]
)
def test_a_file_of_anything_gives_problems(
    raw: bytes, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "odd.yaml"
    file.write_bytes(raw)
    assert main(["machine", "check", str(file)]) == 2
    assert str(file) in capsys.readouterr().err


def test_a_folder_and_a_huge_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["machine", "check", str(tmp_path)]) == 2
    huge = tmp_path / "huge.yaml"
    with huge.open("wb") as out:
        out.truncate(50_000_000)
    assert main(["machine", "check", str(huge)]) == 2
    assert "more than 2,000,000 bytes" in capsys.readouterr().err


def test_a_byte_order_mark_does_no_harm(tmp_path: Path) -> None:
    file = tmp_path / "fan.yaml"
    file.write_bytes(b"\xef\xbb\xbf" + TINY.encode())
    assert main(["machine", "check", str(file)]) == 0
