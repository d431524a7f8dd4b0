"""Machine files: form, hostile text, the rule of sources."""

from __future__ import annotations

import hashlib
import time
from io import StringIO

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from ruamel.yaml import YAML
from ruamel.yaml.error import YAMLError

from knowngood.isolate.forecast import Piece
from knowngood.machines.parse import MOST_PROBLEMS, parse_machine
from knowngood.machines.tree import read_tree

from .tiny import TINY, broken, line_with


def test_a_sound_file() -> None:
    machine, problems = parse_machine(TINY, "tiny.yaml")
    assert problems == []
    assert machine is not None
    assert machine.id == "tiny"
    assert machine.full_volts == 21.0
    assert machine.digest == hashlib.sha256(TINY.encode()).hexdigest()
    pack = machine.parts[0]
    assert (pack.price, pack.source, pack.numbers[0].source) == (
        50, "invented for the demo", "invented for the demo",
    )  # fmt: skip
    volts = machine.tests[0]
    assert volts.good.pieces == (Piece("between", 20.0, 21.0),)
    assert volts.limits is not None and volts.limits.source == "common practice"
    both = machine.tests[2].expect
    assert list(both) == ["pack_dead", "switch_open"]
    assert both["pack_dead"] == both["switch_open"]
    assert machine.lines["tests.pack_volts"] == line_with(TINY, "  pack_volts:")
    assert machine.lines["tests.switch_volts.expect.switch_open"] == line_with(
        TINY, "pack_dead, switch_open: 0 V"
    )


@pytest.mark.parametrize(
    ("old", "new", "message", "fix"),
    [
        ("price: 50", "prise: 50", "parts.pack.prise is not known", "Did you mean price?"),
        ("price: 50, ", "", "parts.pack has no price", "Add price:"),
        ("price: 50", "price: fifty", "wanted: a number", "price: 189"),
        ("price: 50", "price: true", "wanted: a number", "price: 189"),
        ("price: 50", "price: .nan", "wanted: a number", "price: 189"),
        ("price: 50", "price: 1e999", "is inf, wanted: a finite number", "price: 189"),
        ("price: 50", "price: 2000000", "parts.pack.price is 2000000", "at most 1000000"),
        ("price: 50", "price: ", "parts.pack.price is empty", "price: 189"),
        ("price: 50", "price: [50]", "is a list, wanted: a number", "price: 189"),
        ("{words: Pack out, minutes: 1,", "{words: Pack out, minutes: -1,",
         "teardown.pack_out.minutes is -1", "at least 0"),
        ("weight: 2}", "weight: 2, shows: {rset: 0.3}}", "shows.rset is", "'rest'"),
        ("weight: 2}", "weight: 2, shows: {rest: 1.3}}", "shows.rest is 1.3", "at most 1"),
        ("given: {pack_dead: 0.9, switch_open: 0.9}", "given: {pack_dead: 9}",
         "given.pack_dead is 9", "at most 1"),
        ("  pack_dead: {words", "  Pack-Dead: {words", "cannot be an id", "small letters"),
        ("machine: tiny", "machine: 2026-01-01", "machine: '2026-01-01' cannot be an id",
         "small letters, digits and _ -, starting with a letter"),
        ("machine: tiny", "machine: ../../etc/passwd",
         "machine: '../../etc/passwd' cannot be an id", "small letters"),
        ("condition: dead", "condition: Dead!", "condition: 'Dead!' cannot be an id",
         "digits and _, starting"),
        ("role: shell}", "role: shell, pictures: [9F86]}", "is '9F86', wanted: 64 digits",
         "SHA-256"),
        ("quantity: ohms", "quantity: ohm", "tests.switch_ohms.quantity is 'ohm'", "'ohms'"),
        ("good: 0 ohm .. 0.5 ohm", "good: 0 V .. 0.5 V", "is volts, the test measures resistance",
         "ohm"),
        ("good: 0 ohm .. 0.5 ohm", "good: 0", "is 0, not a forecast", "with a unit"),
        ("expect: {switch_open: OL}", "expect: {switch_open: [OL, 1 ohm]}", "has no share", "30 %"),
        ("pack_dead, switch_open: 0 V", "pack_dead, pack_dead: 0 V", "pack_dead is here twice",
         "Keep one"),
        ("pack_dead, switch_open: 0 V", "pack_dead,: 0 V", "an id is missing", "comma"),
        ("{low: 19 V, high: 21.5 V}", "{low: 19 ohm}", "is resistance; wanted: volts",
         "low: 12.4 V"),
        ("{low: 19 V, high: 21.5 V}", "{low: 23 V, high: 21.5 V}", "low is above high", "smaller"),
        ("{low: 19 V, high: 21.5 V}", "{}", "limits without low and high", "low:"),
        ("rated_volts: 20 V", "rated_volts: 20", "is a plain number; wanted: volts", "12.4 V"),
        ("sources: {parts: invented for the demo, ", "sources: {", "parts.pack: its numbers have no"
         " source", "common practice"),
        ("sources: {parts:", "sources: {part:", "no section with numbers", "Did you mean parts?"),
        ("source: common practice\nsources", "sources", "the file's own numbers have no source",
         "common practice"),
        ("energised: true", "energised: 1", "wanted: true or false", "energised: true"),
        ("  live: {words", "  dead: {words", "dead is here twice (first in line", "rename"),
    ],
)  # fmt: skip
def test_each_mistake_has_its_line_and_a_way_out(
    old: str, new: str, message: str, fix: str
) -> None:
    text = broken((old, new))
    machine, problems = parse_machine(text, "tiny.yaml")
    assert machine is None
    found = [p for p in problems if message in p.message]
    assert found, [str(p) for p in problems]
    assert all(p.file == "tiny.yaml" and p.line > 0 and p.fix for p in problems)
    assert fix in found[0].fix
    if not old.startswith("source"):
        spot = line_with(TINY, old)
        assert any(abs(p.line - spot) <= 4 for p in found), (spot, [str(p) for p in found])


def test_every_mistake_is_told_at_once_by_line() -> None:
    text = broken(
        ("price: 50", "price: -1"), ("weight: 2", "weight: x"), ("price: 5,", "prize: 5,")
    )
    _, problems = parse_machine(text, "tiny.yaml")
    wanted = [line_with(text, "price: -1"), line_with(text, "prize"), line_with(text, "weight: x")]
    assert {p.line for p in problems} == set(wanted)
    assert [p.line for p in problems] == sorted(p.line for p in problems)


def test_yes_and_no_are_text_as_in_yaml_1_2() -> None:
    # YAML 1.2.2, section 10.3.2: only true and false (three spellings) are booleans
    assert read_tree("a: yes\nb: no\nc: true\nd: 0x1F\ne: ~", "f").data == {
        "a": "yes", "b": "no", "c": True, "d": "0x1F", "e": None,
    }  # fmt: skip


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "empty"),
        (" \n\t\n", "empty"),
        ("# nothing yet\n", "not a list of entries"),
        ("- 1\n- 2", "not a list of entries"),
        ("just words", "not a list of entries"),
        ("machine: [", "not YAML"),
        ("machine: 'open", "not YAML"),
        ("\tmachine: x", "not YAML"),
        ("machine: x: y", "not YAML"),
        ("machine: \x00", "not text"),
        ("machine: \ud800", "not text"),
        ("machine: *other", "repeats an entry by name"),
        ("a: &a [x]\nb: [*a, *a]", "names an entry"),
        ("machine: !!python/object:os.system x", "tag"),
        ("machine: tiny\n---\nmachine: tiny", "second document"),
        ("? [a, b]\n: 1", "key must be one word"),
        ("? {a: b}\n: 1", "key must be one word"),
        ("a: " + "[" * 100_000, "nested more than"),
        ("[" * 100_000, "nested more than"),
        ("{a: " * 100_000, "nested more than"),
        ("a:\n" + "".join(" " * i + "b:\n" for i in range(1, 60)), "nested more than"),
        ("- " * 3000, "nested more than"),
        ("a: [" + "x, " * 100_000 + "]", "more than 40,000 entries"),
        ("x" * 50_000_000, "50,000,000 bytes"),
        ("machine: 5\nparts: 5\ntests: []\nfaults: text", "parts is 5, wanted: entries"),
        ("<<: {machine: x}", "<< is not known"),
    ],
)
def test_hostile_text(text: str, message: str) -> None:
    began = time.perf_counter()
    machine, problems = parse_machine(text, "bad.yaml")
    assert time.perf_counter() - began < 15
    assert machine is None
    assert any(message in p.message for p in problems), [str(p) for p in problems][:5]
    assert all(p.fix and str(p).startswith("bad.yaml") for p in problems)


def test_fifty_megabytes_are_refused_at_once() -> None:
    text = "a: b\n" * 10_000_000
    began = time.perf_counter()
    machine, problems = parse_machine(text, "big.yaml")
    assert time.perf_counter() - began < 0.5
    assert machine is None and "50,000,000 bytes" in problems[0].message


def test_a_file_full_of_mistakes_is_not_told_without_end() -> None:
    text = TINY + "told:\n" + "".join(f"  t{i}: {{wrods: x}}\n" for i in range(500))
    _, problems = parse_machine(text, "tiny.yaml")
    assert len(problems) == MOST_PROBLEMS + 1
    assert "problems more" in problems[-1].message


plain_data = st.recursive(
    st.none() | st.booleans() | st.integers(-10**9, 10**9)
    | st.text("abc: -#'\"[]{},\n%é", max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(
        st.text("abcxyz_", min_size=1, max_size=5), inner, max_size=3),
    max_leaves=10,
)  # fmt: skip


@settings(max_examples=100, deadline=None)
@given(data=plain_data)
def test_the_tree_agrees_with_the_yaml_library(data: object) -> None:
    yaml = YAML(typ="safe", pure=True)
    yaml.allow_unicode = True
    out = StringIO()
    yaml.dump({"k": data}, out)
    text = out.getvalue()
    tree = read_tree(text, "f")
    try:
        wanted = YAML(typ="safe", pure=True).load(text)
    except YAMLError:  # the library cannot always read what it wrote
        assert tree.problems
        return
    assert tree.problems == [] and tree.data == wanted


@settings(max_examples=100, deadline=None)
@given(st.data())
def test_a_damaged_file_gives_problems_never_a_traceback(data: st.DataObject) -> None:
    at = data.draw(st.integers(0, len(TINY) - 1))
    cut = data.draw(st.integers(0, 30))
    new = data.draw(st.text("{}[]:,-&*!|>'\"%@` \n\tabc019.", max_size=6))
    machine, problems = parse_machine(TINY[:at] + new + TINY[at + cut :], "tiny.yaml")
    assert (machine is None) == bool(problems)
    assert all(p.message and p.fix for p in problems)
