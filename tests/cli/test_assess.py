"""assess, table and plan for scripts: anyone can work the belief out again from the JSON."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from pypdf import PdfReader
from scipy.stats import norm

from knowngood.cli import main

SMALL = str(Path(__file__).parents[1] / "places" / "small.yaml")
Readings = list[dict[str, Any]]
Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Run:
    def go(*words: str) -> tuple[int, str, str]:
        code = main(list(words))
        out, err = capsys.readouterr()
        assert "Traceback" not in out + err
        return code, out, err

    return go


@pytest.fixture
def assess(run: Run, tmp_path: Path) -> Callable[..., dict[str, Any]]:
    def go(readings: Readings, complaint: str = "dead", *more: str) -> dict[str, Any]:
        file = tmp_path / "readings.json"
        file.write_text(json.dumps(readings), encoding="utf-8")
        code, out, err = run(
            "assess", "--machine", SMALL, "--complaint", complaint, "--readings", str(file),
            "--json", *more,
        )  # fmt: skip
        assert code == 0, err
        return dict(json.loads(out))

    return go


def recomputed(answer: dict[str, Any]) -> dict[str, float]:
    """The belief by the formula in docs/scripts.md, from nothing but the JSON."""
    ids = [s["id"] for s in answer["suspects"]]
    nodes = np.log([n["weight"] for n in answer["nodes"]])
    total = {s["id"]: math.log(s["prior"]) + nodes for s in answer["suspects"]}
    for account in answer["accounts"]:
        for s in ids:
            total[s] = total[s] + math.log(max(account["likelihood"][s], 1e-300))
    for group in answer["groups"]:
        counted = [
            r for r in answer["readings"] if r["group"] == group["id"] and r["counts"]
        ]  # fmt: skip
        assert [r["index"] for r in counted] == group["readings"]
        healthy = np.sum([r["healthy"] for r in counted], axis=0)
        for suspect in answer["suspects"]:
            s, shows = suspect["id"], suspect["shows"][group["circumstance"]]
            faulty = np.sum([r["log_likelihood"][s] for r in counted], axis=0)
            with np.errstate(divide="ignore"):
                total[s] = total[s] + np.logaddexp(
                    np.log(shows) + faulty, np.log1p(-shows) + healthy
                )
    top = max(float(v.max()) for v in total.values())
    mass = {s: float(np.exp(v - top).sum()) for s, v in total.items()}
    whole = sum(mass.values())
    return {s: m / whole for s, m in mass.items()}


CASES: dict[str, tuple[str, Readings]] = {
    "nothing read": ("dead", []),
    "one reading": ("dead", [{"test": "pack_rest", "text": "57.9 V"}]),
    "repeats are averaged": (
        "dead",
        [{"test": "pack_rest", "text": t} for t in ("57.9", "57.8", "58.0", "57.9")],
    ),
    "an intermittent fault on two days, two circumstances": (
        "cuts_out",
        [
            {"test": "harness_rest", "text": "0.3", "at": "2026-03-01T10:00Z"},
            {"test": "box_ohms", "text": "0.4", "at": "2026-03-01T10:05Z"},
            {"test": "harness_rest", "text": "0.3", "at": "2026-03-02T10:00Z"},
            {"test": "harness_wiggle", "text": "0.4", "at": "2026-03-02T10:05Z"},
        ],
    ),
    "told, accepted, called, withdrawn, skipped, not understood": (
        "dead",
        [
            {"told": "swapped_pack"},
            {"accept": "motor", "by": "Ana"},
            {"call": "start_box"},
            {"open": "plug"},
            {"test": "pack_rest", "text": "2 V", "withdrawn": True},
            {"test": "terminals", "text": "skip"},
            {"test": "input_diode", "text": "banana"},
            {"test": "water_marks", "text": "no"},
            {"test": "input_diode", "text": "about 0.6 V", "meter": "generic-2000"},
            {"test": "harness_wiggle", "text": "jumps 1-50"},
        ],
    ),
}


@pytest.mark.parametrize("case", CASES)
@pytest.mark.parametrize("meter", ["", "generic-6000"])
def test_anyone_can_recompute_the_belief(
    assess: Callable[..., dict[str, Any]], case: str, meter: str
) -> None:
    complaint, readings = CASES[case]
    answer = assess(readings, complaint, *(["--meter", meter] if meter else []))
    shown = {s["id"]: s["belief"] for s in answer["suspects"]}
    assert sum(shown.values()) == pytest.approx(1, abs=1e-9)
    assert recomputed(answer) == pytest.approx(shown, abs=1e-9)
    by_part: dict[str, float] = {}
    for s in answer["suspects"]:
        for part in s["parts"]:
            by_part[part] = by_part.get(part, 0.0) + s["belief"]
    shown_parts = {p["id"]: p["belief"] for p in answer["parts"]}
    assert shown_parts == pytest.approx({p: by_part.get(p, 0.0) for p in shown_parts}, abs=1e-9)


def test_the_prior_is_weight_times_likelihood(assess: Callable[..., dict[str, Any]]) -> None:
    prior = {s["id"]: s["prior"] for s in assess([])["suspects"]}
    # small.yaml: weights 25 and 8, both .9 for this complaint; motor 5 at .3.
    assert prior["box_open"] / prior["controller_dead"] == pytest.approx(25 / 8)
    assert prior["motor_open"] / prior["box_open"] == pytest.approx(5 * 0.3 / (25 * 0.9))


def test_a_reading_has_value_uncertainty_range_verdict_and_predictions(
    assess: Callable[..., dict[str, Any]],
) -> None:
    answer = assess([{"test": "pack_rest", "text": "57.90 V"}], "dead", "--meter", "generic-6000")
    reading = answer["readings"][0]
    # Sheet: 0.5 % + 3 counts of 0.01 V; the whole as one rectangle (GUM 4.3.7), and half a digit.
    half = 0.005 * 57.9 + 0.03
    expected = math.hypot(half / math.sqrt(3), 0.005 / math.sqrt(3))
    assert reading["value"] == 57.9 and reading["unit"] == "V" and reading["range"] == "60 V"
    assert reading["uncertainty"] == pytest.approx(expected, rel=1e-3)
    # JCGM 106: 95 % keeps 1.6449 u off a limit; to the upper one, 59 V, it is 6 u.
    assert reading["guard"] == pytest.approx(1.6449 * expected, rel=1e-3)
    assert reading["p_good"] == pytest.approx(norm.cdf((59 - 57.9) / expected), abs=1e-6)
    assert reading["verdict"] == "good" and "Cleared: Battery pack" in reading["sentence"]
    dead, box = (reading["prediction"][s] for s in ("pack_dead", "box_open"))
    assert dead["text"] == "0 V .. 10 V" and dead["extreme"] < 1e-6
    # A box of 54 to 58.8 V has a standard deviation of 4.8/sqrt(12); 1 % of 56.4 V for the charge.
    spread = math.sqrt(4.8**2 / 12 + expected**2 + 0.564**2)
    assert box["uncertainty"] == pytest.approx(spread, rel=1e-3)


def test_proof_and_causes(assess: Callable[..., dict[str, Any]]) -> None:
    answer = assess(
        [{"test": "pack_rest", "text": "57.9"}, *[{"test": "box_ohms", "text": "OL"}] * 2], "dead",
        "--meter", "generic-6000",
    )  # fmt: skip
    assert answer["proven"]["parts"] == ["start_box"]
    assert answer["proven"]["readings"] == [1, 2]
    assert answer["proven"]["numbers"] == ["BW-210"]
    assert [c["id"] for c in answer["causes"]] == ["water"]
    assert answer["opened"] == ["handle"]  # the test needed it
    assert answer["next"][0]["kind"] == "order"
    for step in answer["next"]:
        assert step["lower"] <= step["upper"] + 1e-9


def test_a_number_that_the_serial_decides_is_said_to(
    assess: Callable[..., dict[str, Any]], run: Run, tmp_path: Path
) -> None:
    """The same sentence as at the bench; a file of readings says no serial."""
    by_serial = "the number of controller goes by the serial"
    twice = [{"test": "input_diode", "text": "1 mV"}] * 2
    readings = [{"test": "pack_rest", "text": "57.9"}, *twice]
    answer = assess(readings, "dead", "--meter", "generic-6000")
    assert answer["proven"]["parts"] == ["controller"]
    assert answer["proven"]["numbers"] == [""]
    wants = {p["id"]: (p["number"], p["number_wants"]) for p in answer["parts"]}
    assert wants["controller"] == ("", by_serial) and wants["start_box"] == ("BW-210", "")
    _, out, _ = run("assess", "--machine", SMALL, "--complaint", "dead", "--readings",
                    str(tmp_path / "readings.json"), "--meter", "generic-6000")  # fmt: skip
    assert f"order controller: {by_serial}" in out


def test_not_proven_says_why(assess: Callable[..., dict[str, Any]]) -> None:
    answer = assess([{"test": "pack_rest", "text": "57.9"}])
    assert answer["proven"] is None
    assert answer["not_proven"].startswith("not yet shown out by a reading")
    assert "box_open" in answer["standing"] or "harness_open" in answer["standing"]
    assert answer["bounds"]["lower"] <= answer["bounds"]["upper"]


def test_every_problem_of_the_file_is_listed_with_its_index(run: Run, tmp_path: Path) -> None:
    file = tmp_path / "r.json"
    file.write_text(
        json.dumps(
            [
                {"test": "pack_res", "text": "57.9"},
                {"test": "pack_rest"},
                {"test": "pack_rest", "text": 57.9},
                {"test": "pack_rest", "text": "1", "meter": "generic-600"},
                {"test": "pack_rest", "text": "1", "at": "noon"},
                {"test": "pack_rest", "text": "1", "withdrawn": "yes"},
                {"test": "pack_rest", "text": "1", "volts": 3},
                {"open": "covr"},
                {"told": "nothing"},
                {"accept": "pack"},
                {"call": "packs"},
                {"test": "pack_rest", "call": "pack"},
                {},
                "text",
                None,
            ]
        ),
        encoding="utf-8",
    )
    code, out, err = run(
        "assess", "--machine", SMALL, "--complaint", "dead", "--readings", str(file), "--json"
    )
    assert code == 2 and out == ""
    lines = err.splitlines()
    assert [i for i in range(15) if not any(f"[{i}]" in line for line in lines)] == []
    assert "Did you mean pack_rest?" in lines[0]
    assert any("Did you mean cover?" in line for line in lines)
    assert any("Did you mean generic-6000?" in line for line in lines)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "not JSON"),
        ("{", "not JSON"),
        ("{}", "not a list"),
        ("[" * 100_000, "not JSON"),
        ("\x00", "not JSON"),
    ],
)
def test_a_file_that_is_no_list_of_readings(
    run: Run, tmp_path: Path, text: str, words: str
) -> None:
    file = tmp_path / "r.json"
    file.write_text(text, encoding="utf-8")
    code, _, err = run("assess", "--machine", SMALL, "--complaint", "dead", "--readings", str(file))
    assert code == 2 and words in err


def test_wrong_names_are_told_together_with_the_nearest(run: Run, tmp_path: Path) -> None:
    file = str(tmp_path / "missing.json")
    code, _, err = run(
        "assess", "--machine", SMALL, "--complaint", "ded", "--readings", file, "--meter", "generic"
    )
    assert code == 2
    assert "Did you mean dead?" in err and "missing.json: cannot be read" in err
    assert "no meter 'generic'" in err
    code, _, err = run("table", "--machine", "mower-battery-56")
    assert code == 2 and "Did you mean mower-battery-56v?" in err


def test_the_table_has_every_suspect_and_test(run: Run) -> None:
    code, out, _ = run("table", "--machine", SMALL, "--complaint", "dead", "--json")
    answer = json.loads(out)
    assert code == 0
    rows = {t["id"]: t for t in answer["tests"]}
    assert rows["box_ohms"]["expected"]["box_open"] == "OL"
    assert rows["box_ohms"]["numbers"]["box_open"] == {"pieces": [{"kind": "over", "share": 1.0}]}
    assert rows["pack_rest"]["numbers"]["pack_dead"]["pieces"][0]["high"] == 10
    assert rows["terminals"]["numbers"]["pack_dead"] == {"yes": 0.85}
    suspects = {s["id"] for s in answer["suspects"]} - {"other"}
    assert all(set(t["expected"]) == suspects for t in answer["tests"])
    code, out, _ = run("table", "--machine", SMALL)
    assert code == 0 and "start box switch open: OL" in out


def test_the_plan_as_json_and_on_paper(run: Run) -> None:
    words = ["plan", "--machine", SMALL, "--complaint", "dead", "--meter", "generic-6000"]
    code, out, _ = run(*words, "--json", "--nodes", "15")
    answer = json.loads(out)
    assert code == 0 and answer["nodes"] <= 15 and answer["policy"]["do"]["kind"] == "test"
    code, out, _ = run(*words)
    assert code == 0 and "go to 2" in out


def test_assess_for_a_person(run: Run, tmp_path: Path) -> None:
    file = tmp_path / "r.json"
    read = [{"test": "pack_rest", "text": "57.9"}, {"test": "box_ohms", "text": "OL"}]
    file.write_text(json.dumps(read))
    args = ("assess", "--machine", SMALL, "--complaint", "dead", "--readings", str(file))
    _, out, _ = run(*args)
    assert 'Not proven: it hangs on one touch of the probes: read "start box closed" once' in out
    file.write_text(json.dumps([*read, read[1]]))
    code, out, _ = run(*args)
    assert code == 0
    assert "Proven. The start box is bad: start box closed reads OL where a good one reads" in out
    assert "before the new part: Is the start box wet or green inside?" in out


@pytest.mark.parametrize("text", ["\ud800", "\x00", "9" * 5000, "∞", "-0", "1e400", "{}"])
def test_any_text_is_kept_and_answered(assess: Callable[..., dict[str, Any]], text: str) -> None:
    answer = assess([{"test": "pack_rest", "text": text}, {"test": "box_ohms", "text": text}])
    assert len(answer["readings"]) == 2
    assert recomputed(answer) == pytest.approx({s["id"]: s["belief"] for s in answer["suspects"]})


def test_the_plan_as_a_bench_card(run: Run, tmp_path: Path) -> None:
    file = tmp_path / "card.pdf"
    words = ["plan", "--machine", SMALL, "--complaint", "dead", "--meter", "generic-6000"]
    code, out, _ = run(*words, "--card", str(file), "--shop", "Alder Lane")
    assert (code, out) == (0, f"written: {file}\n")
    front = " ".join(PdfReader(file).pages[0].extract_text().split())
    assert "Alder Lane" in front and "6000-count true-RMS hand meter" in front
    code, out, _ = run(*words, "--card", str(file), "--json")
    first = json.loads(out)["policy"]["do"]["words"]
    assert code == 0 and first.rstrip("?") in front
    code, out, err = run(*words, "--card", str(tmp_path / "none" / "card.pdf"))
    assert code == 2 and not out and "cannot be written: No such file" in err
    assert "name a file in a folder that is there" in err
    code, _, err = run(*words, "--card", str(tmp_path))
    assert code == 2 and "name a file in a folder of yours" in err


def test_no_time_to_plan_still_answers(assess: Callable[..., dict[str, Any]]) -> None:
    answer = assess([{"test": "pack_rest", "text": "57.9"}], "dead", "--deadline", "0")
    assert answer["next"] and answer["bounds"]["lower"] <= answer["bounds"]["upper"]


def test_each_of_two_repeats_is_told_apart(run: Run, tmp_path: Path) -> None:
    file = tmp_path / "r.json"
    file.write_text(json.dumps([{"test": "pack_rest", "text": t} for t in ("57.3", "57.1")]))
    base = ("assess", "--machine", SMALL, "--complaint", "dead", "--readings", str(file))
    code, out, _ = run(*base, "--json")
    first, second = json.loads(out)["readings"]
    assert code == 0
    assert first["sentence"] == "pack volts at rest: 57.3 V ± 0.69 V. Read again: [1]"
    assert second["sentence"].startswith("pack volts at rest: 57.1 V ±")
    assert "it agrees with the one before (57.3 V" in second["sentence"]


def test_a_name_that_stands_twice_is_refused(run: Run, tmp_path: Path) -> None:
    file = tmp_path / "r.json"
    file.write_text('[{"told": "new_key"}, {"test": "pack_rest", "text": "57 V", "text": "5 V"}]')
    code, out, err = run("assess", "--machine", SMALL, "--complaint", "dead",
                         "--readings", str(file))  # fmt: skip
    assert code == 2 and not out
    assert "r.json[1]: 'text' is here twice. Keep one" in err
