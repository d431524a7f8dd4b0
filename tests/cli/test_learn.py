"""`knowngood learn`, and what is judged with it, at the terminal."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path

import pytest

from knowngood.calculate.tolerance import two_sided_factor
from knowngood.cli import main
from knowngood.job import apart as ap
from knowngood.places import apart
from knowngood.places.bench import CheckIn, open_job
from knowngood.places.library import find_machine, find_meter
from knowngood.places.own_machines import keep_file, own_file
from knowngood.places.record import At, Record
from tests.places.conftest import SMALL
from tests.places.mended import mended

Capture = pytest.CaptureFixture[str]


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("shop") / "shop.db"
    small, meter = find_machine(str(SMALL)), find_meter("generic-6000")
    with Record.open(path) as record:
        for number in range(1, 10):
            mended((record, small, meter), number, f"0.{20 + number % 3} ohm")
        mended((record, small, meter), 10, "3.5 ohm")
    return path


def run(words: list[str], capsys: Capture, code: int = 0) -> str:
    assert main(words) == code
    out, err = capsys.readouterr()
    return out if code == 0 else err


def test_list_show_and_ask(store: Path, capsys: Capture) -> None:
    at = ["--store", str(store)]
    out = run(["learn", "list", *at], capsys)
    assert out.startswith("test-mower: 10 closed, 10 proven, 20 known-good readings; 1 to ask")
    out = run(["learn", "show", "test-mower", *at], capsys)
    assert "motor_ohms: 9 known-good readings here" in out
    assert "Limit set by known-good readings of this shop" in out
    assert "Start box: 10, 29% in the file, now 52%" in out  # (20 x 25/87 + 10) / 30
    out = run(["learn", "show", "test-mower", "motor_ohms", *at, "--model", "BT-5"], capsys)
    assert "from 9 known-good readings of this model" in out
    k = two_sided_factor(9)
    assert "95% of good machines with 95% confidence" in out
    assert f"(k = {k:.3f}" in out
    assert "to ask about: 3.5 ohm" in out
    out = run(["learn", "ask", *at], capsys)
    assert "/2: motor winding read 3.5 ohm" in out and "does this machine differ?" in out


def test_an_answer_is_kept(store: Path, capsys: Capture) -> None:
    at = ["--store", str(store)]
    (asked,) = json.loads(run(["learn", "ask", "--json", *at], capsys))
    words = ["learn", "answer", asked["reading"], "wrong", "a lead was off", "--by", "Ida", *at]
    assert run(words, capsys).endswith("a wrong reading\n")
    assert run(["learn", "ask", *at], capsys) == "No known-good reading stands out.\n"
    assert "say keep" in run(["learn", "answer", asked["reading"], "hm", *at], capsys, 2)
    assert "names no reading" in run(["learn", "answer", "26", "keep", *at], capsys, 2)
    assert "There is no job" in run(["learn", "answer", "99-1/1", "keep", *at], capsys, 2)
    assert "has readings 1 to 4" in run(
        ["learn", "answer", asked["reading"][:-1] + "77", "keep", *at], capsys, 2
    )


def test_an_assessment_with_lessons_is_the_same_each_time(
    store: Path, tmp_path: Path, capsys: Capture
) -> None:
    file, readings = tmp_path / "lessons.json", tmp_path / "r.json"
    run(["learn", "save", "test-mower", str(file), "--store", str(store)], capsys)
    readings.write_text('[{"test": "motor_ohms", "text": "0.9 ohm"}]', encoding="utf-8")
    words = ["assess", "--machine", str(SMALL), "--complaint", "dead", "--readings",
             str(readings), "--meter", "generic-6000", "--json"]  # fmt: skip
    answers = [json.loads(run([*words, "--lessons", str(file)], capsys)) for _ in range(2)]
    for one in answers:
        one.pop("seconds")
    assert answers[0]["suspects"] == answers[1]["suspects"]
    assert len(answers[0]["lessons"]) == 64
    assert answers[0]["readings"][0]["verdict"] == "bad"
    plain = json.loads(run(words, capsys))
    assert plain["lessons"] is None and plain["readings"][0]["verdict"] != "bad"


def test_table_and_plan_with_lessons(store: Path, tmp_path: Path, capsys: Capture) -> None:
    file, card = tmp_path / "lessons.json", tmp_path / "card.pdf"
    run(["learn", "save", "test-mower", str(file), "--store", str(store)], capsys)
    small, learned = ["--machine", str(SMALL), "--complaint", "dead"], ["--lessons", str(file)]
    plain, taught = (run(["table", *small, *more], capsys) for more in ([], learned))
    assert plain != taught and "motor_ohms" in taught
    plain, taught = (
        json.loads(run(["plan", *small, "--json", *more], capsys)) for more in ([], learned)
    )
    assert plain["policy"] != taught["policy"]
    run(["plan", *small, *learned, "--card", str(card)], capsys)
    assert card.read_bytes().startswith(b"%PDF-")
    file.write_text("{", encoding="utf-8")
    for command in ("table", "plan"):
        assert "lessons.json cannot be read" in run([command, *small, *learned], capsys, 2)


def test_wrong_lessons_are_refused_in_words(tmp_path: Path, capsys: Capture) -> None:
    file, readings = tmp_path / "lessons.json", tmp_path / "r.json"
    readings.write_text("[]", encoding="utf-8")
    words = ["assess", "--machine", str(SMALL), "--complaint", "dead", "--readings",
             str(readings), "--lessons", str(file)]  # fmt: skip
    for text, why in (
        ("{", "lessons.json cannot be read"),
        ("[" * 100_000, "lessons.json cannot be read"),
        ('{"lessons": 1, "machine": "saw", "model": "", "readings": [], "jobs": 0, "by_part": {},'
         ' "by_fault": {}, "minutes": []}', "is about 'saw'"),
    ):  # fmt: skip
        file.write_text(text, encoding="utf-8")
        assert why in run(words, capsys, 2)


def test_nothing_learned_yet(tmp_path: Path, capsys: Capture) -> None:
    with Record.open(tmp_path / "shop.db"):
        pass
    at = ["--store", str(tmp_path / "shop.db")]
    assert run(["learn", "list", *at], capsys).startswith("No job is closed yet")
    assert run(["learn", "show", "string-trimmer-40v", *at], capsys)
    why = run(["learn", "show", "string-trimmer-40v", "pack_rest", *at], capsys, 2)
    assert "no known-good reading of pack_rest yet" in why


def test_at_the_bench(store: Path, tmp_path: Path, capsys: Capture) -> None:
    session = tmp_path / "session.txt"
    lines = ["warm 72 F", "known motor_ohms", "lessons none", "lessons now", "warm x", "quit"]
    session.write_text("\n".join(lines) + "\n", encoding="utf-8")
    out = run(
        ["bench", "--machine", str(SMALL), "--complaint", "dead", "--model", "BT-5", "--meter",
         "generic-6000", "--store", str(store), "--session", str(session), "--by", "Ida"], capsys,
    )  # fmt: skip
    assert "kept: 22.2222 degC at the bench from here on" in out
    assert "motor_ohms: motor winding" in out and "known-good readings of this model" in out
    assert "kept: judged with the machine file alone from here on" in out
    assert "closed jobs of this shop from here on" in out


def test_what_a_job_teaches_its_machine_is_kept_at_the_terminal(
    tmp_path: Path, capsys: Capture
) -> None:
    store, session = tmp_path / "shop.db", tmp_path / "session.txt"
    with Record.open(store) as record:
        at = At(datetime(2026, 3, 2, 9, 0, tzinfo=UTC), "Sam")
        keep_file(record, SMALL.read_text(encoding="utf-8"), "test-mower", at)
        it = open_job(record, CheckIn(find_machine(str(SMALL)), "dead", model="BT-5"), at).job
        apart.take_off(record, it.id, "cover", at)
        kinds = apart.fasteners_noted([{"count": 7, "drive": "T25"}])
        apart.note_step(record, it.id, ap.StepNoted("cover", kinds), at)
    lines = ["teach", "teach cover", "teach cover", "teach handle", "quit"]
    session.write_text("\n".join(lines) + "\n", encoding="utf-8")
    out = run(["bench", "--job", it.name, "--store", str(store), "--session", str(session)], capsys)
    assert "teach cover: lift the controller cover: 8 x T25 in the file, 7 x T25 here" in out
    assert "kept in the machine file test-mower: cover" in out
    assert "that is in the file test-mower already" in out
    assert "nothing new to keep about that step" in out
    with Record.open(store) as record:
        own = own_file(record, "test-mower")
        assert own is not None and "count: 7" in own.text and "count: 8" not in own.text
