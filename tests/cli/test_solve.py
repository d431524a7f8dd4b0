"""`knowngood solve`: the shape of the answer, exit codes, and never a traceback."""

from __future__ import annotations

import json
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest
from pytest import CaptureFixture

from knowngood.cli.solve import _value, solve

START = """\
ground: B-
elements:
  - {ref: BT1, kind: battery, pins: {plus: B+, minus: B-}, volts: 20 V, ohms: 50 mohm}
  - {ref: F1,  kind: fuse,    pins: {a: B+, b: F1.out}, ohms: 5 mohm, rating: 30 A}
  - {ref: S1,  kind: switch,  pins: {a: F1.out, b: S1.out}, closed: true, ohms: 20 mohm}
  - {ref: K1,  kind: relay,   pins: {coil+: S1.out, coil-: B-, com: B+, no: M+}, coil_ohms: 80 ohm,
     pull_in: 14 V}
probes:
  - {read: volts, red: S1.out, black: B-, meter_ohms: 10 Mohm}
  - {read: ohms, red: S1.out, black: B-, test_current: 1 mA, open_volts: 3 V, limit: 40 Mohm,
     lead_ohms: 0.2 ohm}
  - {read: amps, through: F1}
  - {read: volts, red: M+, black: B-, meter_ohms: 10 Mohm}
  - {read: ohms, red: M+, black: B-}
faults:
  - {on: S1, mode: high resistance, ohms: 10 ohm}
  - {on: S1, mode: open}
  - {on: F1, mode: leak, to: B-, ohms: 4 ohm}
"""


def answer(text: str, folder: Path, capsys: CaptureFixture[str]) -> Any:
    file = folder / "start.yaml"
    file.write_text(text, encoding="utf-8")
    assert solve(file, True) == 0
    shown = capsys.readouterr()
    assert shown.err == ""
    return json.loads(shown.out, parse_constant=pytest.fail)


def test_the_answer_has_its_shape(tmp_path: Path, capsys: CaptureFixture[str]) -> None:
    got = answer(START, tmp_path, capsys)
    assert set(got) == {"healthy", "faults"} and set(got["healthy"]) == {"nodes", "probes"}
    top = 20 * 80 / 80.075
    assert got["healthy"]["nodes"]["S1.out"] == pytest.approx(top, abs=1e-9)
    assert got["healthy"]["nodes"]["M+"] == pytest.approx(20 - 0.05 * 20 / 80.075, abs=1e-9)
    volts, ohms, amps, out, _ = got["healthy"]["probes"]
    assert volts == pytest.approx(top, abs=1e-6) and volts < top  # the meter loads it
    assert amps == pytest.approx(20 / 80.075, abs=1e-9) and out > 19.9
    assert "live source" in ohms["error"]
    assert [(f["on"], f["mode"]) for f in got["faults"]] == [
        ("S1", "high resistance"),
        ("S1", "open"),
        ("F1", "leak"),
    ]
    assert [case["nodes"]["B-"] for case in (got["healthy"], *got["faults"])] == [0.0] * 4
    opened = got["faults"][1]
    assert opened["nodes"]["S1.out"] == pytest.approx(0.0, abs=1e-12)
    assert opened["nodes"]["M+"] is None
    assert opened["probes"][1] == pytest.approx(80.2)
    assert opened["probes"][3] == pytest.approx(0.0, abs=1e-9)
    assert opened["probes"][4] == "OL"
    # 4 ohm from B+ to B- beside the coil's 80.025 ohm.
    leak = got["faults"][2]
    both = 4 * 80.025 / 84.025
    assert leak["nodes"]["B+"] == pytest.approx(20 * both / (both + 0.05), abs=1e-9)


def test_a_fault_without_an_answer_does_not_stop_the_rest(
    tmp_path: Path, capsys: CaptureFixture[str]
) -> None:
    ideal = START.replace("ohms: 50 mohm", "ohms: 0 ohm").replace("ohms: 4 ohm", "ohms: 0 ohm")
    got = answer(ideal, tmp_path, capsys)
    leak = got["faults"][2]
    assert leak["nodes"] == {} and leak["probes"] == []
    assert "contradictory ideal sources" in leak["error"] and "BT1" in leak["error"]
    assert got["faults"][1]["nodes"]["B+"] == 20.0


def test_a_climbing_reading(tmp_path: Path, capsys: CaptureFixture[str]) -> None:
    text = """
ground: n
elements:
  - {ref: C1, kind: capacitor, pins: {a: p, b: n}, farads: 470 uF}
probes:
  - {read: diode, red: p, black: n, test_current: 1 mA}
"""
    (shown,) = answer(text, tmp_path, capsys)["healthy"]["probes"]
    assert shown["climbing"] is True and shown["settles"] == "OL"
    assert shown["volts per second"] == pytest.approx(1e-3 / 470e-6, rel=1e-6)


@pytest.mark.parametrize(
    ("change", "code", "words"),
    [
        (("kind: fuse", "kind: fuze"), 2, "line 4: no kind 'fuze'"),
        (("no: M+", "nc: S1.out"), 2, "no consistent state: K1"),
        (("coil+: S1.out, coil-: B-, com: B+, no: M+", "coil+: M+, coil-: B-, com: B+, no: M+"),
         2, "2 consistent states: K1"),
        (("ohms: 50 mohm}", "ohms: 0 ohm}\n  - {ref: BT2, kind: battery,"
          " pins: {plus: B+, minus: B-}, volts: 18 V}"), 2, "contradictory ideal sources"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_said(
    change: tuple[str, str], code: int, words: str, tmp_path: Path, capsys: CaptureFixture[str]
) -> None:
    text = START.replace(*change)
    if "nc: S1.out" in text:  # a contact that takes the coil's own feed away
        text = text.replace("a: F1.out, b: S1.out", "a: F1.out, b: other")
    text = text.replace("red: M+", "red: B+")
    file = tmp_path / "start.yaml"
    file.write_text(text, encoding="utf-8")
    assert solve(file, True) == code
    shown = capsys.readouterr()
    assert shown.out == "" and words in shown.err and "Traceback" not in shown.err


def test_no_convergence_is_no_answer(
    tmp_path: Path, capsys: CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("knowngood.circuit.solver.MOST_STEPS", 2)
    file = tmp_path / "start.yaml"
    diode = "  - {ref: D1, kind: diode, pins: {anode: S1.out, cathode: B-}}\nprobes:"
    file.write_text(START.replace("probes:", diode), encoding="utf-8")
    assert solve(file, True) == 3
    assert "no convergence" in capsys.readouterr().err


@pytest.mark.parametrize("content", [b"\xff\xfe\x00", b"\x80abc", b""])
def test_bytes_that_are_no_text(
    content: bytes, tmp_path: Path, capsys: CaptureFixture[str]
) -> None:
    file = tmp_path / "start.yaml"
    file.write_bytes(content)
    assert solve(file) == 2 and str(file) in capsys.readouterr().err


def test_missing_files_and_folders(tmp_path: Path, capsys: CaptureFixture[str]) -> None:
    assert solve(tmp_path / "none.yaml") == 2 and solve(tmp_path) == 2
    assert capsys.readouterr().err.count("cannot be read") == 2


def test_for_a_person_and_as_a_process(tmp_path: Path) -> None:
    file = tmp_path / "start.yaml"
    file.write_text(START, encoding="utf-8")
    call = [sys.executable, "-m", "knowngood", "solve", str(file)]
    done = subprocess.run(call, capture_output=True, text=True, check=True)
    assert "Volts S1.out to B-:\n  healthy" in done.stdout and "no reading" in done.stdout
    piped = subprocess.run(
        [*call[:-1], "-", "--json"], input=START, capture_output=True, text=True, check=True
    )
    assert json.loads(piped.stdout)["healthy"]["nodes"]["B+"] > 19


def test_the_largest_file_is_answered(tmp_path: Path, capsys: CaptureFixture[str]) -> None:
    """900 elements, each open alone, ten probes: by updates, in seconds."""
    lines = [f"  - {{ref: R{i}, kind: resistor, pins: {{a: n{i}, b: n{i + 1}}}, ohms: 1 ohm}}"
             for i in range(899)]  # fmt: skip
    text = "ground: n899\nelements:\n"
    text += "  - {ref: B, kind: battery, pins: {plus: n0, minus: n899}, volts: 899 V}\n"
    text += "\n".join(lines) + "\nprobes:\n"
    text += "".join(f"  - {{read: volts, red: n{90 * i}, black: n899}}\n" for i in range(9))
    text += "faults:\n" + "".join(f"  - {{on: R{i}, mode: open}}\n" for i in range(899))
    started = time.perf_counter()
    got = answer(text, tmp_path, capsys)
    assert time.perf_counter() - started < 60
    assert got["healthy"]["nodes"]["n100"] == pytest.approx(799, abs=1e-6)
    assert got["faults"][99]["nodes"]["n99"] == pytest.approx(899, abs=1e-6)
    assert got["faults"][99]["nodes"]["n100"] == pytest.approx(0, abs=1e-6)


def test_what_is_nothing_but_rounding_is_printed_as_nothing() -> None:
    assert _value(-4e-33, "voltage") == "0 V" and _value(1e-9, "current") == "1 nA"
