"""What the checker of machine files says about files with one thing wrong."""

from __future__ import annotations

from dataclasses import replace

import pytest

from knowngood.isolate.forecast import Forecast, Piece
from knowngood.machines.apart import proof_tests, untold_pairs
from knowngood.machines.check import check_machine, read_machine, report_text, within_limits
from knowngood.machines.machine import Limits, Machine
from knowngood.machines.nearest import did_you_mean
from knowngood.machines.parse import parse_machine
from tests.machines.test_guide import GUIDE
from tests.machines.wired import WIRED

from .tiny import TINY, broken, line_with

LIVE = "live: {words: shell open and live, open: shell, closed: [pack_out, cap_safe]"


def tiny() -> Machine:
    machine, problems = parse_machine(TINY, "tiny.yaml")
    assert machine is not None, problems
    return machine


def test_the_sound_file_has_nothing_to_mend() -> None:
    machine, report = report_text(TINY, "tiny.yaml")
    assert machine is not None
    assert report.problems == () and report.notes == () and report.untold == ()
    assert {p.fault: p.test for p in report.proofs} == {
        "pack_dead": "pack_volts", "switch_open": "switch_ohms",
    }  # fmt: skip


@pytest.mark.parametrize(
    ("old", "new", "message", "fix"),
    [
        # ids
        ("parts: switch, weight", "parts: swich, weight", "names swich, which is not among parts",
         "Did you mean switch?"),
        ("condition: dead", "condition: ded", "names ded", "Did you mean dead?"),
        ("expect: {switch_open", "expect: {switch_opn", "names switch_opn", "switch_open?"),
        ("needs: [pack_out, shell]", "needs: [pack_ot, shell]", "names pack_ot", "pack_out?"),
        ("closed: [pack_out, cap_safe]", "closed: [pack_out, cap]", "names cap", "cap_safe"),
        ("given: {pack_dead: 0.9", "given: {packdead: 0.9", "names packdead", "pack_dead?"),
        ("fixed_order: [pack_volts", "fixed_order: [pack_vlts", "names pack_vlts", "pack_volts?"),
        ("weight: 1}", "weight: 1, causes: wet}", "names wet, which is not among causes",
         "There is none yet"),
        ("weight: 1}", "weight: 1, leaves: {fuse: 0.5}}", "names fuse", "pack_dead, switch_open"),
        ("condition: dead\n", "condition: dead\n    follows: charge\n", "names charge", "none yet"),
        ("condition: dead\n", "condition: dead\n    after: [pack_volt]\n", "names pack_volt",
         "pack_volts?"),
        ("fixed_order: [pack_volts", "fixed_order: [switch_ohms", "names switch_ohms 2 times",
         "once"),
        # rings
        ("role: shell}", "role: shell, needs: cap_safe}", "a ring", "out of needs"),
        ("condition: dead\n", "condition: dead\n    after: [switch_ohms]\n", "a ring", "after"),
        # numbers
        ("weight: 1}", "weight: 1, leaves: {pack_dead: 0.7, burnt: 0.5}}\n"
         "  burnt: {words: burnt, mode: open, parts: switch, weight: 1}",
         "switch_open leaves chances of 1.2", "1 at most"),
        ("{number: B-1}", "{number: A-1}", "A-1 is the number of pack and of switch", "own number"),
        ("[{number: A-1}]", "[{number: A-1, supersedes: [A-0, B-1]}]",
         "B-1 is the number of switch, and A-1 of pack supersedes it", "Take B-1 out of"),
        ("{number: B-1}", "{number: B-1, supersedes: A-1}",
         "A-1 is the number of pack, and B-1 of switch supersedes it", "give pack its own number"),
        ("[{number: A-1}]", "[{number: A-1, serial_from: 5000, serial_to: 1000}]",
         "A-1: the first serial 5000 comes after the last, 1000", "serial_from"),
        ("[{number: A-1}]", "[{number: A-1, serial_from: A5, serial_to: B9}]",
         "A-1: the first serial A5 is not written like the last, B9", "serial_from"),
        ("[{number: A-1}]", "[{number: A-1, supersedes: A-1}]", "a ring", "newest"),
        ("[{number: A-1}]", "[{number: A-1, models: F}, {number: A-2, models: F}]",
         "A-1 and A-2 fit the same F", "serial_from"),
        ("parts: switch, weight", "parts: pack, weight", "no fault names the part switch",
         "Add a fault"),
        ("given: {pack_dead: 0.9, switch_open: 0.9}", "others: 0", "no fault makes the complaint",
         "given"),
        # reach
        ("outside: {words: pack out, open: pack_out}", "outside: {words: pack out, open: [pack_out,"
         " cap_safe], closed: shell}", "cannot be reached: shell", "out of closed"),
        # a healthy machine passes its own tests
        ("{low: 19 V, high: 21.5 V}", "{low: 20.5 V, high: 21.5 V}", "in 50% of cases", "widen"),
        ("{low: 19 V, high: 21.5 V}", "{high: 12 V}", "in 0% of cases", "widen"),
        # safety
        ("condition: dead", "condition: live", "measures ohms in live, which is energised",
         "not energised"),
        ("role: source out", "role: shell", "no step takes the source of energy out", "source out"),
        ("open: [pack_out, cap_safe]}", "open: [pack_out, shell]}", "without cap_safe",
         "Add cap_safe to open"),
        ("open: [pack_out, cap_safe]}", "open: shell}", "without pack_out and cap_safe", "Add"),
        (",\n    caution: One hand}", "}", "live is energised and has no caution", "Add caution"),
        (LIVE, LIVE.replace("[pack_out, cap_safe]", "pack_out"), "cap_safe may be open",
         "Add cap_safe to closed"),
        ("full_volts: 21 V", "full_volts: 63 V", "live with the shell open at 63 V, above 60 V",
         "bench supply"),
        ("open: shell, closed: [pack_out, cap_safe]", "open: [pack_out, cap_safe]",
         "energised while pack_out is open", "volts:"),
        ("words: Volts behind the switch", "words: Spin the fan by hand and read the volts",
         "turns something by hand in live", "source out"),
        ("switch_ohms, switch_volts]", "switch_volts, switch_ohms]",
         "switch_ohms is a dead test and comes after switch_volts", "before switch_volts"),
        ("needs: [pack_out, cap_safe]}\nteardown", "needs: shell}\nteardown",
         "fitted in an open shell without pack_out and cap_safe", "to its needs"),
    ],
)  # fmt: skip
def test_each_fault_of_a_file_is_found(old: str, new: str, message: str, fix: str) -> None:
    text = broken((old, new))
    machine, problems = read_machine(text, "tiny.yaml")
    assert machine is None
    found = [p for p in problems if message in p.message]
    assert found, [str(p) for p in problems]
    assert fix in found[0].fix
    assert all(p.line > 0 and p.fix for p in problems)


def test_ohms_with_the_pack_in_are_refused_though_the_shell_is_shut() -> None:
    text = broken(
        ("{words: pack out, open: pack_out}", "{words: as it stands}"),
        ("quantity: volts\n    condition: outside", "quantity: ohms\n    condition: outside"),
        ("good: 20 V .. 21 V\n    limits: {low: 19 V, high: 21.5 V}", "good: OL"),
        ("{pack_dead: 0 V .. 5 V}", "{pack_dead: 5 ohm}"),
    )
    (problem,) = read_machine(text, "tiny.yaml")[1]
    assert "measures ohms while the source may be in" in problem.message
    assert "Add pack_out to open" in problem.fix


def test_the_line_is_that_of_the_entry() -> None:
    text = broken(("expect: {switch_open", "expect: {switch_opn"))
    (problem,) = read_machine(text, "tiny.yaml")[1]
    assert problem.line == line_with(text, "switch_opn")


def test_a_superseded_number_that_is_another_parts_own_is_told_at_its_line() -> None:
    two = "[{number: A-1},\n    {number: A-2, models: F,\n     supersedes: [A-1, B-1]}]"
    text = broken(("[{number: A-1}]", two))
    (problem,) = read_machine(text, "tiny.yaml")[1]
    assert problem.message.startswith("B-1 is the number of switch")
    assert problem.line == line_with(text, "supersedes: [A-1, B-1]")


def test_an_assembly_may_be_replaced_by_two_parts() -> None:
    text = broken(("{number: A-1}", "{number: A-1, supersedes: C-1}"),
                  ("{number: B-1}", "{number: B-1, supersedes: C-1}"))  # fmt: skip
    machine, problems = read_machine(text, "tiny.yaml")
    assert machine is not None, problems


def test_a_name_is_near_by_a_part_of_it() -> None:
    steps = ["cover", "pack_out", "handle_bracket", "motor_plug", "sensor_plug"]
    assert did_you_mean("hndle", steps) == "Did you mean handle_bracket?"
    assert did_you_mean("plugg", steps) == "Did you mean motor_plug or sensor_plug?"
    assert did_you_mean("covr", steps) == "Did you mean cover?"
    assert did_you_mean("zzz", steps).startswith("There are: cover, ")
    four = [*steps, "power_plug", "switch_plug"]
    assert did_you_mean("plug", four).startswith("There are: cover, ")


def test_form_and_sense_are_told_together() -> None:
    text = broken(("good: 0 ohm .. 0.5 ohm", "good: 0 V"), ("condition: live", "condition: liv"))
    _, problems = read_machine(text, "tiny.yaml")
    assert {p.line for p in problems} == {line_with(text, "good: 0 V"),
                                          line_with(text, "condition: liv")}  # fmt: skip


def test_full_volts_are_reckoned_from_rated_volts_when_missing() -> None:
    # 4.2 / 3.6 of the rated volts: 52 V rated may be 60.7 V full, 51 V rated is 59.5 V
    for rated, sound in (("51 V", True), ("52 V", False)):
        text = broken(("full_volts: 21 V\n", ""), ("rated_volts: 20 V", f"rated_volts: {rated}"))
        assert (read_machine(text, "tiny.yaml")[0] is not None) == sound


def test_a_bench_supply_below_sixty_volts_may_feed_an_open_shell() -> None:
    old = "open: shell, closed: [pack_out, cap_safe]"
    for volts, problems in (("42 V", 0), ("61 V", 1)):
        text = broken((old, f"volts: {volts}, open: [pack_out, cap_safe]"))
        found = read_machine(text, "tiny.yaml")[1]
        assert len(found) == problems and all("at 61 V" in p.message for p in found)


def test_a_machine_made_in_memory_is_checked_too() -> None:
    machine = tiny()
    twice = replace(machine, faults=(*machine.faults, machine.faults[0]), lines={})
    (problem,) = check_machine(twice, "made")
    assert "faults.pack_dead is here 2 times" in problem.message and problem.line == 0
    minus = replace(machine, tests=(replace(machine.tests[0], minutes=-3.0), *machine.tests[1:]))
    assert any("minutes is -3" in p.message for p in check_machine(minus, "made"))
    unnamed = replace(machine.tests[0], limits=Limits(0, 100, ""))
    bare = replace(machine, tests=(unnamed, *machine.tests[1:]))
    assert any("have no source" in p.message for p in check_machine(bare, "made"))


def test_a_long_ring_does_not_run_into_the_ground() -> None:
    step = tiny().teardown[1]
    many = tuple(replace(step, id=f"s{i}", needs=(f"s{(i + 1) % 2000}",)) for i in range(2000))
    machine = replace(tiny(), teardown=(*tiny().teardown, *many))
    (problem,) = check_machine(machine, "made")
    assert "a ring" in problem.message and len(problem.message) < 200


@pytest.mark.parametrize(
    ("good", "low", "high", "inside"),
    [
        # a normal within one and two standard deviations, any table: 0.6827, 0.9545
        (Forecast((Piece("around", 10.0, 1.0),)), 9.0, 11.0, 0.6827),
        (Forecast((Piece("around", 10.0, 1.0),)), 8.0, 12.0, 0.9545),
        (Forecast((Piece("between", 0.0, 4.0),)), 1.0, None, 0.75),
        (Forecast((Piece("between", 0.0, 1.0, 0.6), Piece("over", share=0.4))), 0.0, None, 1.0),
        (Forecast((Piece("between", 0.0, 1.0, 0.6), Piece("over", share=0.4))), 0.0, 5.0, 0.6),
        (Forecast((Piece("around", 5.0, 0.0),)), 5.0, 6.0, 1.0),
    ],
)
def test_share_of_healthy_machines_within_limits(
    good: Forecast, low: float | None, high: float | None, inside: float
) -> None:
    test = replace(tiny().tests[0], good=good, limits=Limits(low, high, "a test"))
    assert within_limits(test) == pytest.approx(inside, abs=1e-4)


def two_faults(first: str, second: str, good: str = "20 V .. 21 V") -> Machine:
    """Two faults in two parts and one volts test that shows them so."""
    text = TINY[: TINY.index("  switch_ohms:")] + TINY[TINY.index("\ncomplaints:") + 1 :]
    text = text.replace("fixed_order: [pack_volts, switch_ohms, switch_volts]", "")
    text = text.replace("    limits: {low: 19 V, high: 21.5 V}\n", "")
    text = text.replace("good: 20 V .. 21 V", f"good: {good}")
    text = text.replace("{pack_dead: 0 V .. 5 V}", f"{{pack_dead: {first}, switch_open: {second}}}")
    machine, problems = parse_machine(text, "two.yaml")
    assert machine is not None, problems
    return machine


@pytest.mark.parametrize(
    ("first", "second", "distance"),
    [
        # total variation of two uniforms of width w shifted by d is d/w; of two normals of
        # standard deviation s a distance d apart it is 2 Phi(d / 2s) - 1 (textbook)
        ("0 V .. 50 V", "10 V .. 60 V", 0.2),
        ("0 V .. 50 V", "5 V .. 55 V", 0.1),
        ("20 V +- 10 V", "21 V +- 10 V", 0.0797),
        ("20 V +- 10 V", "22 V +- 10 V", 0.1585),
        ("12 V", "12 V", 0.0),
    ],
)
def test_distance_of_two_forecasts(first: str, second: str, distance: float) -> None:
    (pair,) = untold_pairs(two_faults(first, second))
    assert pair.distance == pytest.approx(distance, abs=0.012)
    assert (pair.first, pair.second) == ("pack_dead", "switch_open")
    assert pair.test == (None if distance == 0 else "pack_volts")


def test_far_apart_is_told_and_both_are_proven() -> None:
    machine = two_faults("0 V .. 5 V", "OL")
    assert untold_pairs(machine) == ()
    assert [p.test for p in proof_tests(machine)] == ["pack_volts", "pack_volts"]


def test_a_reading_that_a_healthy_machine_gives_proves_nothing() -> None:
    machine = two_faults("20 V .. 21 V", "0 V .. 5 V")
    assert [(p.fault, p.test) for p in proof_tests(machine)] == [
        ("pack_dead", None), ("switch_open", "pack_volts"),
    ]  # fmt: skip


def test_an_untold_pair_and_a_missing_proof_are_notes_not_problems() -> None:
    text = broken(("expect: {switch_open: OL}", "expect: {}"),
                  ("pack_dead: 0 V .. 5 V}", "pack_dead: 20 V .. 21 V}"))  # fmt: skip
    machine, report = report_text(text, "tiny.yaml")
    assert machine is not None and report.problems == ()
    notes = " ".join(str(n) for n in report.notes)
    assert "no test tells pack_dead from switch_open" in notes
    assert "no single reading proves switch_open" in notes
    assert "switch_ohms reads the same under every fault" in notes
    assert all(n.line > 0 and n.fix for n in report.notes)


def test_mistakes_of_form_and_of_sense_are_told_in_one_report() -> None:
    """A wrong field does not hide a ring of steps, ohms for volts, or one number on two parts."""
    text = GUIDE.split("```yaml\n")[1].split("```")[0]
    for old, new in (
        ("role: source out}", "role: source out, needs: grille}"),
        ("    role: shell\n", "    role: shell\n    needs: pack_out\n"),
        ("rated_volts: 20 V", "rated_volts: 20 ohm"),
        ("    price: 8\n", "    price: 8\n    numbers: [{number: FR-9001}]\n"),
        ("minutes: 10", "minutes: -10"), ("weight: 5", "wieght: 5"),
    ):  # fmt: skip
        assert old in text
        text = text.replace(old, new, 1)
    machine, problems = read_machine(text, "fan")
    assert machine is None
    told = [str(p) for p in problems]
    for words in ("is resistance; wanted: volts", "FR-9001 is the number of pack and of switch",
                  "parts.motor.minutes is -10", "a ring", "Did you mean weight?"):  # fmt: skip
        assert sum(words in one for one in told) == 1, words
    assert len(told) == 6 and all(p.line for p in problems)  # and that the weight is missing


EXTRA = """\
  extra:
    words: Ohms of the fuse
    question: fuse ohms
    condition: dead
    minutes: 1
    probe: {read: ohms, red: NOPE, black: NADA}
    limits: {low: 1 V, high: 2 ohm}
"""


@pytest.mark.parametrize("element", ["ohms: 0.01 ohm", "ohms: 0.01 V"])
def test_a_wrong_unit_hides_no_unknown_node(element: str) -> None:
    """Neither in the same test nor in the circuit itself; each is told in one go."""
    before, after = WIRED.split("\ncomplaints:", 1)
    text = f"{before}\n{EXTRA}complaints:{after}".replace("ohms: 0.01 ohm", element)
    machine, problems = read_machine(text, "wired")
    assert machine is None
    said = "\n".join(map(str, problems))
    assert "red must touch a node, got 'NOPE'" in said
    assert "black must touch a node, got 'NADA'" in said
    assert "'1 V' is volts; wanted: resistance, such as 0.3 ohm. Write it like low: 0.3 ohm" in said
    assert ("'0.01 V' is volts" in said) == (element == "ohms: 0.01 V")
