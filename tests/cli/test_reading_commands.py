"""A command that only reads writes nothing, whatever it is pointed at, and says the way out."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from pathlib import Path

import pytest

from knowngood.cli import main

READING = (
    "job list", "job show 1", "job next", "job figures", "job export 1", "paper kept",
    "paper due", "stock show", "stock advice", "parts find bolt", "parts lists",
    "learn list",
)  # fmt: skip
ANSWERED = frozenset(READING) - {"job show 1", "job export 1"}
"""As of a record with nothing in it where there is none yet: no job is needed first."""


def other_database(path: Path) -> None:
    raw = sqlite3.connect(path)
    raw.execute("CREATE TABLE invoice (number TEXT)")
    raw.close()


PLACES: dict[str, tuple[Callable[[Path], object], str]] = {
    "an empty file": (Path.touch, "is an empty file, not a record"),
    "a text": (lambda p: p.write_text("Dear customer, " * 40), "it is no database"),
    "half a line": (lambda p: p.write_text("SQLite format"), "it is no database"),
    "another database": (other_database, "not a record of this program"),
    "a folder": (Path.mkdir, "is a folder. Name a file in it"),
    "nothing": (lambda p: None, "There is no record at"),
}


def everything_in(folder: Path) -> dict[str, bytes | None]:
    return {str(p): p.read_bytes() if p.is_file() else None for p in folder.rglob("*")}


@pytest.mark.parametrize("place", PLACES)
@pytest.mark.parametrize("command", READING)
def test_it_leaves_what_is_there_and_says_what_it_is(
    command: str, place: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    make, words = PLACES[place]
    store = tmp_path / "shop.db"
    make(store)
    before = everything_in(tmp_path)
    code = main([*command.split(), "--store", str(store)])
    said = capsys.readouterr()
    assert everything_in(tmp_path) == before
    if place == "nothing" and command == "job list":
        assert code == 0 and "there is no record at" in said.out
        return
    if place == "nothing" and command in ANSWERED:
        assert code == (2 if "find" in command else 0)  # no list has it
        assert said.err.startswith(f"{words} {store} yet; the first entry makes it.\n")
        return
    assert code == 2 and words in said.err and str(store) in said.err
    assert said.out == "" and "Traceback" not in said.err


@pytest.mark.parametrize("command", READING)
def test_a_folder_that_is_not_there_is_not_made(
    command: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    store = tmp_path / "not" / "there" / "shop.db"
    answered = command in ANSWERED and "find" not in command
    assert main([*command.split(), "--store", str(store)]) == (0 if answered else 2)
    assert str(store) in "".join(capsys.readouterr()) and not list(tmp_path.iterdir())
