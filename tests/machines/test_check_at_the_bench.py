"""What a machine file may leave out or get wrong that would be met only at the bench."""

from __future__ import annotations

import time

import pytest

from knowngood.machines.check import read_machine, report_text
from knowngood.machines.shipped import load_shipped
from tests.machines.tiny import TINY, broken, line_with

RELEASE = "release:\n  stops: {words: It stops when switched off}\n"


def first_problem(text: str, part: str) -> tuple[int, str, str]:
    """Line, message and fix of the problem whose message holds `part`."""
    machine, report = report_text(text, "tiny.yaml")
    assert machine is None or report.problems
    found = [p for p in report.problems if part in p.message]
    assert found, [str(p) for p in report.problems]
    assert all(p.line > 0 and p.fix for p in report.problems)
    return found[0].line, found[0].message, found[0].fix


@pytest.mark.parametrize("left", ["", "release: {}\n", "release:\n"])
def test_a_machine_is_not_handed_back_unchecked(left: str) -> None:
    text = broken((RELEASE, left))
    line, _, fix = first_problem(text, "release is empty")
    assert "blade_stop" in fix
    assert line == (line_with(text, left.rstrip()) if left == "release: {}\n" else line)
    assert line == 1 or text.split("\n")[line - 1].startswith("release:")


def test_the_shipped_mower_without_its_release_checks_is_not_sound() -> None:
    text = load_shipped("mower-battery-56v")
    start, end = text.index("\nrelease:\n"), text.index("\nfixed_order:")
    machine, problems = read_machine(text[:start] + text[end:], "mower")
    assert machine is None and any("release is empty" in p.message for p in problems)


def test_a_part_is_fitted_with_the_source_out() -> None:
    text = broken(("numbers: [{number: A-1}], needs: pack_out}", "numbers: [{number: A-1}]}"))
    line, _, fix = first_problem(text, "does not say what must be open to fit it")
    assert line == line_with(text, "pack: {words: Pack") and "needs: [pack_out" in fix
    text = broken(
        ("needs: pack_out}", "needs: side_cover}"),
        ("  shell: {words", "  side_cover: {words: Cover off, minutes: 1, back_minutes: 1}\n"
                            "  shell: {words"),
    )  # fmt: skip
    _, message, fix = first_problem(text, "is fitted without pack_out")
    assert message.startswith("pack") and "Add pack_out to its needs" in fix
    text = broken(("needs: pack_out}", "needs: []}"))  # said on purpose, such as of a charger
    assert read_machine(text, "tiny.yaml")[1] == []


@pytest.mark.parametrize("same", ["20 V .. 21 V", "19.9 V .. 21 V"])
def test_a_fault_that_no_test_tells_from_a_healthy_machine(same: str) -> None:
    text = broken(
        ("expect: {pack_dead: 0 V .. 5 V}", f"expect: {{pack_dead: {same}}}"),
        ("pack_dead, switch_open: 0 V .. 5 V", "switch_open: 0 V .. 5 V"),
    )
    line, _, fix = first_problem(text, "no test tells pack_dead from a healthy machine")
    assert line == line_with(text, "pack_dead: {words") and "pack_dead" in fix


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("good: 20 V .. 21 V\n    limits", "good: 20 Vv .. 21 V\n    limits", "Vv"),
        ("high: 21.5 V", "high: 21.5 volz", "volz"),
        ("good: 0 ohm .. 0.5 ohm", "good: 0 ohm .. 0.5 omh", "omh"),
        ("rated_volts: 20 V", "rated_volts: 20 ohm", "20 ohm"),
    ],
)
def test_a_mistyped_unit_is_named_with_its_line(old: str, new: str, said: str) -> None:
    text = broken((old, new))
    line, _, _ = first_problem(text, said)
    assert line == line_with(text, said)


@pytest.mark.parametrize(
    ("old", "new", "near"),
    [
        ("question: switch\n", "questoin: switch\n", "question"),
        ("fixed_order:", "fixed_ordr:", "fixed_order"),
        ("mode: open, parts: pack", "mod: open, parts: pack", "mode"),
    ],
)
def test_an_unknown_key_names_the_nearest(old: str, new: str, near: str) -> None:
    text = broken((old, new))
    line, _, fix = first_problem(text, "is not known")
    assert line == line_with(text, new.strip().split(",")[0]) and f"Did you mean {near}?" in fix


def test_a_ring_in_the_teardown_and_a_number_for_two_parts() -> None:
    text = broken(("role: shell}", "role: shell, needs: cap_safe}"))
    line, message, fix = first_problem(text, "a ring")
    assert "cap_safe" in message and "shell" in message and fix
    assert line in (line_with(text, "  shell: {"), line_with(text, "  cap_safe: {"))
    text = broken(("number: B-1", "number: A-1"))
    _, message, _ = first_problem(text, "A-1 is the number of pack and of switch")
    assert message


def test_no_time_runs_backwards() -> None:
    text = broken(("words: Pack out, minutes: 1", "words: Pack out, minutes: -1"))
    line, message, _ = first_problem(text, "pack_out.minutes is -1")
    assert line == line_with(text, "minutes: -1") and message


@pytest.mark.parametrize(
    ("sign", "number"), [("\\e[31m", "001B"), ("\\a", "0007"), ("\\u202e", "202E"), ("\\0", "0000")]
)
def test_words_hold_no_control_characters(sign: str, number: str) -> None:
    """A terminal and a claim print them; ESC could rewrite what stands above it."""
    text = broken(("words: Dead", f'words: "Dead{sign}"'))
    line, _, fix = first_problem(text, f"control character U+{number}")
    assert line == line_with(text, "words: \"Dead") and "plain text" in fix
    assert "\x1b" in (raw := broken(("words: Dead", "words: Dead\x1b[2J")))
    assert any("not text" in p.message for p in read_machine(raw, "x")[1])


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (TINY + "x: " + "[" * 900_000, "nested more than"),
        (TINY + "x: " + "{[ " * 400_000, "nested more than"),
        ("a: &a [x, x]\nb: &b [*a, *a, *a]\nc: [*b, *b, *b]", "&a names an entry"),
        ("machine: tiny\n" * 4_000_000, "bytes; the most is"),
    ],
)  # fmt: skip
def test_a_hostile_file_is_refused_at_once(text: str, said: str) -> None:
    began = time.perf_counter()
    machine, report = report_text(text, "x.yaml")
    assert machine is None and said in report.problems[0].message and report.problems[0].fix
    assert time.perf_counter() - began < 3
