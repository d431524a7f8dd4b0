"""A bare task as text: what is accepted, and what is listed when it is wrong."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from knowngood.cli.isolate import isolate
from knowngood.isolate.task import unanswerable
from knowngood.isolate.task_file import parse_task

GOOD: dict[str, Any] = {
    "goal": "part",
    "faults": [
        {"id": "s0", "weight": 0.7, "parts": ["p0"]},
        {"id": "s1", "weight": 0.3, "parts": ["p1"]},
    ],
    "parts": [{"id": "p0", "price": 20, "needs": ["lid"]}, {"id": "p1", "price": 9}],
    "covers": [{"id": "lid", "price": 5, "needs": []}],
    "tests": [
        {
            "id": "t1",
            "price": 1,
            "needs": ["lid"],
            "outcomes": ["pass", "fail"],
            "given": {"s0": [1, 0], "s1": [0.1, 0.9]},
        }
    ],
    "give_up": {"price": 300},
    "wrong_price": 80,
}


def changed(path: str, value: Any) -> str:
    """The good task with one value replaced; ``path`` such as ``faults.0.weight``."""
    task = json.loads(json.dumps(GOOD))
    *way, last = path.split(".")
    here = task
    for k in way:
        here = here[int(k)] if isinstance(here, list) else here[k]
    if isinstance(here, list):
        here[int(last)] = value
    else:
        here[last] = value
    return json.dumps(task)


def listed(text: str) -> list[str]:
    task, problems = parse_task(text)
    assert task is None and problems
    return [str(p) for p in problems]


def test_a_good_task() -> None:
    task, problems = parse_task(json.dumps(GOOD))
    assert task is not None and not problems
    assert task.tests[0].given.tolist() == [[1.0, 0.1], [0.0, 0.9]]
    assert task.cure_sets == (("p0",), ("p1",))


def test_unknown_keys_are_listed_beside_everything_else() -> None:
    task = json.loads(changed("faults.0.weight", -1))
    task |= {"extra": 1, "zzz": 2, "goal": "fix", "faults": [*task["faults"], {"id": "s0"}]}
    lines = listed(json.dumps(task))
    for words in ("unknown key 'extra'", "unknown key 'zzz'", "'part' or 'cured'", "below 0",
                  "already faults[0]"):  # fmt: skip
        assert any(words in line for line in lines), (words, lines)


def test_missing_lists_are_empty() -> None:
    task, problems = parse_task('{"goal": "part", "faults": [{"id": "a", "weight": 2}]}')
    assert task is not None and not problems
    assert task.tests == () and task.weights.tolist() == [1.0]


@pytest.mark.parametrize(
    ("path", "value", "place", "words"),
    [
        ("goal", "fix", "goal", "'part' or 'cured'"),
        ("faults", [], "faults", "no fault"),
        ("faults", 3, "faults", "must be a list"),
        ("faults.0", 3, "faults[0]", "must be an object"),
        ("faults.0.id", "s1", "faults[1].id", "already faults[0]"),
        ("faults.0.weight", -1, "faults[0].weight", "below 0"),
        ("faults.0.weight", "x", "faults[0].weight", "number"),
        ("faults.0.weight", True, "faults[0].weight", "number"),
        ("faults.0.weight", None, "faults[0].weight", "nothing"),
        ("faults.0.weight", 10**400, "faults[0].weight", "above"),
        ("faults.0.parts", ["p9"], "faults[0].parts[0]", "Did you mean 'p"),
        ("faults.0.parts", ["p0", "p0"], "faults[0].parts[1]", "twice"),
        ("parts.0.price", -0.5, "parts[0].price", "below 0"),
        ("parts.0.needs", ["lit"], "parts[0].needs[0]", "Did you mean 'lid'?"),
        ("parts.0.closed", ["lid"], "parts[0]", "open and shut"),
        ("covers.0.needs", ["lid"], "covers", "lid > lid"),
        ("covers.0.close_price", -1, "covers[0].close_price", "below 0"),
        ("tests.0.outcomes", [], "tests[0].outcomes", "at least one"),
        ("tests.0.outcomes", ["a", "a"], "tests[0].outcomes", "twice"),
        ("tests.0.given", {"s0": [1, 0]}, "tests[0].given", "no row for fault 's1'"),
        ("tests.0.given.s9", [1, 0], "tests[0].given", "unknown fault 's9'"),
        ("tests.0.given.s0", [1], "tests[0].given['s0']", "list of 2"),
        ("tests.0.given.s0", [0.5, 0.4], "tests[0].given['s0']", "sums to 0.9"),
        ("tests.0.given.s0", [1.5, -0.5], "tests[0].given['s0'][0]", "above"),
        ("give_up", 3, "give_up", "object"),
        ("give_up", {"price": "much"}, "give_up.price", "number"),
        ("wrong_price", -3, "wrong_price", "below 0"),
        ("wrong_prise", 3, "task", "Did you mean 'wrong_price'?"),
        ("zzz", 1, "task", "unknown key 'zzz'. Known: 'goal'"),
        ("tests.0.extra", 1, "tests[0]", "unknown key 'extra'"),
        ("give_up", {"price": 3, "zzz": 1}, "give_up", "unknown key 'zzz'"),
    ],
)
def test_a_mistake_is_named_with_its_place(path: str, value: Any, place: str, words: str) -> None:
    lines = listed(changed(path, value))
    assert any(line.startswith(place) and words in line for line in lines), lines


def test_every_mistake_is_listed_not_the_first_one() -> None:
    task = json.loads(changed("faults.0.weight", -1))
    task["parts"][1]["price"] = "free"
    task["tests"][0]["needs"] = ["hood"]
    assert len(listed(json.dumps(task))) == 3


def test_a_longer_cycle_is_spelled_out() -> None:
    text = changed(
        "covers",
        [
            {"id": "lid", "price": 1, "needs": ["b"]},
            {"id": "b", "price": 1, "needs": ["c"]},
            {"id": "c", "price": 1, "needs": ["b"]},
        ],
    )
    assert any("b > c > b" in line for line in listed(text))


def test_nothing_cures_and_no_giving_up() -> None:
    task = json.loads(changed("goal", "cured"))
    task["faults"][0]["parts"] = []
    del task["give_up"]
    assert any("faults[0].parts" in line and "give_up" in line for line in listed(json.dumps(task)))


@pytest.mark.parametrize(
    "text",
    [
        "",
        "{",
        "[]",
        "3",
        "null",
        '{"goal": NaN}',
        '{"goal": "part", "faults": [{"id": "a", "weight": Infinity}]}',
        '{"goal": "part", "faults": [{"id": "a", "weight": 1e999}]}',
        '{"goal": "part", "faults": [{"id": "a", "weight": NaN}]}',
        '{"goal": "part", "faults": [{"id": "a", "weight": 0}]}',
        '{"goal": "part", "goal": "part", "faults": [{"id": "a", "weight": 1}]}',
        "[" * 100_000,
        '{"goal": ' + "9" * 5000 + "}",
        '{"goal": "part", "faults": [{"id": ["a"], "weight": 1}]}',
        '{"goal": "part", "faults": [{"id": "a", "weight": 1, "parts": [{}]}]}',
        '{"goal": "part", "faults": [{"id": "a", "weight": 1}], "tests": [{"id": "t"}]}',
    ],
)
def test_hostile_text_is_refused_without_a_traceback(text: str) -> None:
    assert listed(text)


@pytest.mark.parametrize("text", ["[" * 100_000, '{"a":' * 100_000])
def test_what_is_nested_too_deep_is_called_that(text: str) -> None:
    assert "nested too deep" in str(parse_task(text)[1][0])


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=4),
    lambda x: st.lists(x, max_size=3) | st.dictionaries(st.text(max_size=4), x, max_size=3),
    max_leaves=6,
)
PATHS = [
    "goal",
    "faults",
    "parts",
    "covers",
    "tests",
    "give_up",
    "wrong_price",
    "faults.0",
    "faults.0.id",
    "faults.0.parts",
    "faults.0.weight",
    "parts.0.needs",
    "parts.0.price",
    "covers.0",
    "covers.0.needs",
    "tests.0",
    "tests.0.given",
    "tests.0.outcomes",
    "tests.0.given.s0",
    "tests.0.price",
]


@settings(max_examples=200, deadline=None, derandomize=True)
@given(st.sampled_from(PATHS), JSON)
def test_anything_in_any_place_is_read_or_listed(path: str, value: Any) -> None:
    task, problems = parse_task(changed(path, value))
    assert (task is None) == bool(problems)


def test_exit_codes(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "task.json"
    file.write_text(json.dumps(GOOD))
    assert isolate(file, True) == 0
    answer = json.loads(capsys.readouterr().out)
    assert answer["exact"] and answer["expected_price"] == pytest.approx(8.4)
    assert answer["policy"]["then"] == {"pass": {"stop": ["p0"]}, "fail": {"stop": ["p1"]}}
    assert isolate(file, False) == 0
    assert "8.40" in capsys.readouterr().out
    file.write_text(changed("faults.0.weight", -1))
    assert isolate(file, True) == 2
    shown = capsys.readouterr()
    assert shown.out == "" and "faults[0].weight" in shown.err
    task = json.loads(json.dumps(GOOD))
    del task["wrong_price"]
    file.write_text(json.dumps(task))
    parsed, _ = parse_task(json.dumps(task))
    assert parsed is not None and unanswerable(parsed) == ("s0", "s1")
    assert isolate(file, True) == 3
    assert "'s0' and 's1'" in capsys.readouterr().err
    assert isolate(tmp_path / "none.json", True) == 2
    assert isolate(tmp_path, True) == 2
    file.write_bytes(b"\xff\xfe\x00")
    assert isolate(file, True) == 2
    assert isolate(file, True, deadline=-1.0) == 2


def test_as_a_command(tmp_path: Path) -> None:
    file = tmp_path / "task.json"
    file.write_text(json.dumps(GOOD))
    command = [sys.executable, "-m", "knowngood.cli.isolate", str(file), "--json", "--no-exact"]
    run = subprocess.run(command, capture_output=True, text=True, check=False)
    assert run.returncode == 0 and json.loads(run.stdout)["lower"] == pytest.approx(8.4)
    assert "Traceback" not in run.stderr
