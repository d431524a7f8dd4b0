"""docs/scripts.md runs as it stands: its files, its commands, their answers, its Python."""

from __future__ import annotations

import json
import re
import shlex
from pathlib import Path

import pytest

from knowngood.cli import main

PAGE = Path(__file__).parents[2] / "docs" / "scripts.md"
BLOCK = re.compile(r"^```(\w+)((?: \w+=\S+)*)\n(.*?)^```$", re.M | re.S)


def blocks() -> list[tuple[str, dict[str, str], str]]:
    text = PAGE.read_text(encoding="utf-8")
    return [
        (kind, dict(o.split("=", 1) for o in options.split()), body)
        for kind, options, body in BLOCK.findall(text)
    ]


def expected(lines: list[str]) -> re.Pattern[str]:
    """Lines as a pattern: three dots stand for anything."""
    return re.compile(re.escape("\n".join(lines)).replace(re.escape("..."), ".*"), re.S)


def test_the_page_runs(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    ran = 0
    for kind, options, body in blocks():
        if "file" in options:
            Path(options["file"]).write_text(body, encoding="utf-8")
        elif kind == "console":
            for part in re.split(r"^\$ ", body, flags=re.M)[1:]:
                command, *answer = part.rstrip("\n").split("\n")
                words = shlex.split(command)
                assert words[0] == "knowngood"
                code = main(words[1:])
                out, err = capsys.readouterr()
                assert code == int(options.get("exit", 0)), err
                if answer:
                    said = out if code == 0 else err
                    assert expected(answer).match(said.rstrip("\n")), f"{command}\n{said}"
                if "save" in options:
                    Path(options["save"]).write_text(out, encoding="utf-8")
                ran += 1
        elif kind == "python":
            answer_ = json.loads(Path(options["run"]).read_text(encoding="utf-8"))
            exec(compile(body, "docs/scripts.md", "exec"), {"answer": answer_})
            ran += 1
    assert ran >= 10


def test_every_name_of_the_answer_is_on_the_page(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    page = PAGE.read_text(encoding="utf-8")
    small = str(Path(__file__).parents[1] / "places" / "small.yaml")
    file = tmp_path / "r.json"
    readings = [{"test": "pack_rest", "text": "57.9"}, {"told": "new_key"}]
    readings += [{"test": "box_ohms", "text": "OL"}]
    file.write_text(json.dumps(readings), encoding="utf-8")
    base = ["--machine", small, "--complaint", "dead", "--json"]
    missing: set[str] = set()
    for words in (["assess", "--readings", str(file), *base], ["table", *base], ["plan", *base]):
        assert main(words) == 0
        missing |= {n for n in names(json.loads(capsys.readouterr().out)) if n not in page}
    assert missing == set()


def names(value: object) -> set[str]:
    """Names of the shape; what is keyed by a suspect's or test's own id is not one."""
    if isinstance(value, list):
        return {n for each in value for n in names(each)}
    if not isinstance(value, dict):
        return set()
    own = {"log_likelihood", "prediction", "likelihood", "expected", "numbers", "held_back"}
    found = set(value)
    for key, inner in value.items():
        if key not in own:
            found |= names(inner)
    return found
