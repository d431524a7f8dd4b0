"""A change in a file's text: what was meant is changed, and not one other sign."""

from __future__ import annotations

import difflib

import pytest
from hypothesis import given
from hypothesis import strategies as st
from ruamel.yaml import YAML

from knowngood.machines.edit import EditError, with_entry, with_field, written
from knowngood.machines.shipped import load_shipped, shipped_names

FILE = """\
# Ida's own file; the long screws are at the rear
machine: idas-mower
teardown:            # in my order
  pack_out: {words: Pack out, minutes: 1}   # and in another room
  cover:
    words: >-
      Motor cover
      off
    needs: [pack_out]
    minutes: 3       # never less
    fasteners:
      - {count: 8, drive: T25}
      - {count: 2, drive: T30}  # the long ones

# what follows was there before
conditions:
  outside: {words: pack out}
"""


def changes(before: str, after: str) -> list[str]:
    rows = difflib.ndiff(before.splitlines(), after.splitlines())
    return [row for row in rows if row[0] in "+-"]


def read(text: str) -> dict[str, object]:
    found = YAML(typ="safe", pure=True).load(text)
    assert isinstance(found, dict)
    return found


def test_a_new_step_stands_at_the_end_of_its_section() -> None:
    after = with_entry(FILE, "teardown", "clip", {"words": "Clip, red: off", "minutes": 0.5})
    assert changes(FILE, after) == [
        "+   clip:", '+     words: "Clip, red: off"', "+     minutes: 0.5",
    ]  # fmt: skip
    assert after.index("clip:") < after.index("# what follows")
    assert list(read(after)["teardown"]) == ["pack_out", "cover", "clip"]  # type: ignore[call-overload]


def test_a_new_step_after_another() -> None:
    after = with_entry(FILE, "teardown", "clip", {"words": "Clip off"}, after="pack_out")
    assert list(read(after)["teardown"]) == ["pack_out", "clip", "cover"]  # type: ignore[call-overload]
    assert "# and in another room\n  clip:" in after


@pytest.mark.parametrize(
    ("id", "name", "value", "rows"),
    [
        ("cover", "minutes", 6.5, ["-     minutes: 3       # never less",
                                   "+     minutes: 6.5       # never less"]),
        ("cover", "needs", ["pack_out", "clip"], ["-     needs: [pack_out]",
                                                  "+     needs: [pack_out, clip]"]),
        ("cover", "source", "measured", ["+     source: measured"]),
        ("pack_out", "minutes", 2.0, [
            "-   pack_out: {words: Pack out, minutes: 1}   # and in another room",
            "+   pack_out: {words: Pack out, minutes: 2}   # and in another room"]),
        ("bay", "needs", ["cover"], ["+   bay:", "+     needs: [cover]"]),
    ],
)  # fmt: skip
def test_one_field(id: str, name: str, value: float | list[str], rows: list[str]) -> None:
    after = with_field(FILE, "teardown", id, name, value)
    found = [row for row in changes(FILE, after) if not row.startswith("?")]
    assert found == rows
    assert read(after)["teardown"][id][name] == value  # type: ignore[index]


def test_a_section_that_is_not_there_yet() -> None:
    after = with_field("machine: x  # short", "teardown", "cover", "minutes", 2.0)
    assert after == "machine: x  # short\nteardown:\n  cover:\n    minutes: 2\n"
    assert read(with_field("machine: x\nteardown:\n", "teardown", "a", "words", "b"))["teardown"]


@pytest.mark.parametrize(
    ("text", "said"),
    [("- a", "no machine file"), ("a: [", "no YAML"), ("teardown: [a]", "no list of entries")],
)
def test_what_cannot_be_changed_says_why(text: str, said: str) -> None:
    with pytest.raises(EditError, match=said):
        with_entry(text, "teardown", "x", {"words": "y"})


def test_an_entry_that_is_there_is_not_written_twice() -> None:
    with pytest.raises(EditError, match="cover already"):
        with_entry(FILE, "teardown", "cover", {"words": "y"})


@given(st.text(st.characters(codec="utf-8", exclude_categories=["Cs", "Cc"]), max_size=60))
def test_any_words_come_back_as_they_were_typed(words: str) -> None:
    after = with_entry(FILE, "teardown", "x", {"words": words, "traps": [words, "b"]})
    assert read(after)["teardown"]["x"] == {"words": words, "traps": [words, "b"]}  # type: ignore[index]
    assert read(f"a: {written({'w': words})}")["a"] == {"w": words}


@pytest.mark.parametrize("family", [n for n in shipped_names() if n != "blower-80v"])
def test_every_shipped_file_takes_a_step_and_minutes(family: str) -> None:
    text = load_shipped(family)
    first = next(iter(read(text)["teardown"]))  # type: ignore[call-overload]
    after = with_field(text, "teardown", first, "minutes", 7.5)
    clip = {"words": "Clip off", "minutes": 1, "needs": [first]}
    after = with_entry(after, "teardown", "clip", clip)
    was, now = read(text), read(after)
    assert now["teardown"].pop("clip")["needs"] == [first]  # type: ignore[attr-defined]
    was["teardown"][first]["minutes"] = 7.5  # type: ignore[index]
    assert now == was
    assert text.count("#") == after.count("#")
