"""Readings worked out from the wiring, against sums by hand on a circuit of one loop."""

from __future__ import annotations

from dataclasses import replace

import pytest

from knowngood.isolate.forecast import Forecast
from knowngood.isolate.hypotheses import Hypothesis
from knowngood.isolate.likelihood import Mixture, anything, mass, nodes
from knowngood.machines.check import read_machine, report_text
from knowngood.machines.design import POINTS, STRAY, level, picked
from knowngood.machines.machine import Machine, Test
from knowngood.machines.parse import parse_machine
from knowngood.machines.table import build_table, complaint_of, forecast_for
from knowngood.machines.wire import wire, with_pairs
from knowngood.measure.meter import load_shipped_meter
from knowngood.measure.typed import read_text
from tests.machines.wired import WIRED

LOOP = 0.1 + 0.02 + 0.02 + 0.01 + 0.05 + 9.8  # ohm, as in the file
METERS = {n: load_shipped_meter(n) for n in ("generic-6000", "generic-2000")}


def machine_of(text: str = WIRED) -> Machine:
    machine, problems = read_machine(text, "wired")
    assert machine is not None, "\n".join(str(p) for p in problems)
    return machine


def wired(meter: str = "", text: str = WIRED) -> dict[str, Test]:
    return {t.id: t for t in wire(machine_of(text), METERS.get(meter)).tests}


def ends(forecast: Forecast) -> tuple[float, float]:
    (piece,) = forecast.pieces
    return piece.low, piece.low if piece.kind == "around" else piece.high


def test_volts_across_the_heater_are_those_of_a_divider() -> None:
    test = wired()["heater_volts"]
    assert ends(test.good)[0] == pytest.approx(12 * 9.8 / LOOP, rel=1e-3)
    # 6 to 9 V behind the same divider, widened by a tenth of the width at either end
    low, high = ends(test.expect["pack_low"])
    first, last = 6 * 9.8 / LOOP, 9 * 9.8 / LOOP
    assert low == pytest.approx(first - 0.1 * (last - first), rel=1e-3)
    assert high == pytest.approx(last + 0.1 * (last - first), rel=1e-3)
    # 1 to 10 ohm instead of 0.05 ohm
    low, high = ends(test.expect["switch_bad"])
    assert low < 12 * 9.8 / (LOOP - 0.05 + 10) < 12 * 9.8 / (LOOP - 0.05 + 1) < high


def test_behind_an_open_a_meter_shows_stray_volts_at_most() -> None:
    """As often as not nothing at all: a reading of 0.0 mV there is no odd one."""
    pieces = wired()["heater_volts"].expect["fuse_open"].pieces
    assert [(p.low, p.high, p.share) for p in pieces] == [(0, 0.001, 0.5), (0, STRAY, 0.5)]
    reading = read_text("0 mV", "volts", METERS["generic-6000"])
    listed = mass(Mixture([wired()["heater_volts"].expect["fuse_open"]]), reading, nodes(False))
    assert float(listed[0, 0]) > anything(reading) / 3


def test_an_open_heater_takes_the_whole_volts_less_what_the_meter_draws() -> None:
    for meter, input_ohms in (("generic-6000", 10e6), ("generic-2000", 1e6)):
        test = wired(meter)["heater_volts"]
        exact = 12 * input_ohms / (input_ohms + LOOP - 9.8)
        assert ends(test.expect["heater_open"])[0] == pytest.approx(exact, rel=1e-3)


def test_ohms_include_the_leads_of_the_meter_at_hand() -> None:
    inner = 0.01 + 0.05 + 9.8
    for meter, leads in (("generic-6000", 0.2), ("generic-2000", 0.4)):
        test = wired(meter)["loop_ohms"]
        assert ends(test.good)[0] == pytest.approx(inner + leads, rel=1e-3)
        assert test.expect["fuse_open"].pieces[0].kind == "over"
        assert "pack_low" not in test.expect  # the pack is out


def test_of_several_pairs_the_person_writes_the_highest() -> None:
    test = wired("generic-6000")["worst_ohms"]
    assert ends(test.good)[0] == pytest.approx(0.05 + 0.2, rel=1e-3)
    assert test.expect["fuse_open"].pieces[0].kind == "over"
    assert picked([0.1, "OL", 0.2], "highest") == "OL" and picked([0.3, 0.2], "lowest") == 0.2


def test_shares_and_jumps_are_kept_apart() -> None:
    pieces = {p.kind: p.share for p in wired()["loop_ohms"].expect["switch_half"].pieces}
    assert pieces["over"] == pytest.approx(0.75 * 0.6)
    assert pieces["unsteady"] == pytest.approx(0.75 * 0.4)
    assert sum(pieces.values()) == pytest.approx(1)


def test_what_moves_nothing_reads_as_good() -> None:
    tests = wired()
    assert "switch_stuck" not in tests["loop_ohms"].expect  # it is held closed anyway
    assert set(tests["pack_volts"].expect) == {"pack_low"}  # the pack is out: nothing else near it


def test_two_faults_are_solved_together() -> None:
    machine = wire(machine_of(), None)
    pair = ("fuse_open", "pack_low")
    machine = with_pairs(machine, [pair, ("heater_open", "switch_bad")])
    test = next(t for t in machine.tests if t.id == "heater_volts")
    both = Hypothesis("x", "x", "double", 0.1, frozenset(), pair)
    assert forecast_for(test, both) == test.expect["fuse_open"]
    # behind an open heater no current flows: 12 V, whatever the contact of the switch
    other = Hypothesis("y", "y", "double", 0.1, frozenset(), ("heater_open", "switch_bad"))
    assert ends(forecast_for(test, other))[0] == pytest.approx(12, rel=1e-3)
    assert forecast_for(test, other) != test.expect["switch_bad"]


def test_every_level_of_a_spread_comes_once() -> None:
    for column in range(40):
        assert sorted(level(r, column) * (POINTS - 1) for r in range(POINTS)) == pytest.approx(
            list(range(POINTS)))  # fmt: skip


def test_a_file_is_worked_out_once_for_each_meter() -> None:
    machine = machine_of()
    first = wire(machine, METERS["generic-6000"])
    assert wire(machine_of(), METERS["generic-6000"]) is first
    assert wire(first, METERS["generic-6000"]) is first
    cheap = wire(first, METERS["generic-2000"])
    assert cheap is not first and cheap.wiring is not first.wiring
    assert len({t.id for t in cheap.tests}) == len(cheap.tests)


def test_further_tests_are_safe_few_and_tell_something_new() -> None:
    machine = wire(machine_of(), METERS["generic-6000"])
    made = [t for t in machine.tests if t.generated]
    assert made and len(machine.tests) <= 60
    conditions = {c.id: c for c in machine.conditions}
    for test in made:
        assert test.probe is not None
        if test.quantity != "volts":
            assert not conditions[test.condition].energised
            assert "pack_out" in conditions[test.condition].open
        assert test.red in test.words and test.black in test.words and test.expect
        assert test.source == "worked out from the wiring"
    known = {(t.condition, t.probe) for t in machine.tests if not t.generated}
    assert not known & {(t.condition, t.probe) for t in made}


def test_the_table_has_the_rows_of_the_meter() -> None:
    machine = machine_of()
    rows = {n: build_table(machine, complaint_of(machine, "cold"), None, m).rows["loop_ohms"]
            for n, m in METERS.items()}  # fmt: skip
    goods = {n: ends(r.forecasts[r.good])[0] for n, r in rows.items()}
    assert goods["generic-2000"] - goods["generic-6000"] == pytest.approx(0.2, rel=0.02)


def test_a_row_by_hand_replaces_what_is_worked_out_and_needs_a_reason() -> None:
    extra = "    minutes: 1\n    limits: {low: 10 V, high: 13 V}\n"
    by_hand = extra + "    expect: {heater_open: 5 V}\n"
    _, problems = parse_machine(WIRED.replace(extra, by_hand), "wired")
    assert [p for p in problems if "without a reason" in p.message]
    test = wired("", WIRED.replace(extra, by_hand + "    reason: seen once\n"))["heater_volts"]
    assert ends(test.expect["heater_open"])[0] == 5 and "fuse_open" in test.expect


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("red: S, black: B-}", "red: T, black: B-}", "red must touch a node"),
        ("{on: F1, mode: open}", "{on: F9, mode: open}", "no element 'F9'"),
        ("{on: F1, mode: open}", "{on: F1, mode: melted}", "cannot be 'melted'"),
        ("{set: BT.volts, to: 6 V .. 9 V}", "{set: BT.watts, to: 6 W}", "no value 'BT.watts'"),
        ("{set: BT.volts, to: 6 V .. 9 V}", "{set: BT.volts, to: 9 V .. 6 V}", "runs downwards"),
        ("{set: BT.volts, to: 6 V .. 9 V}", "{set: BT.volts, to: 6 ohm}", "BT.volts"),
        ("ohms: 1 ohm .. 10 ohm", "ohms: 0 ohm .. 10 ohm log", "log scale"),
        ("states: {seat: out}", "states: {seta: out}", "no element or connector 'seta'"),
        ("states: {S1: open}", "states: {S1: up}", "cannot stand 'up'"),
        ("F: {words: fuse out, open: lid}", "F: {words: f, open: hood}", "names hood"),
        ("F: {words: fuse out, open: lid}", "G: {words: f, open: lid}", "no element touches"),
        ("circuit: {on: H1, mode: open}", "circuit: {on: H1, mode: open, when: noon}", "noon"),
        ("share: 75 %", "share: 175 %", "a share of 175"),
        ("    P+: {words: pack plus, open: pack_out}\n", "", "which is no point"),
        ("black: P-}\n    condition: idle", "black: P-}\n    condition: live", "does not allow"),
        ("pins: {a: S, b: B-}, ohms: 9.8 ohm", "pins: {a: X, b: Y}, ohms: 9.8 ohm", "not joined"),
        ("kind: fuse", "kind: fues", "no kind 'fues'"),
        ("states: {seat: out}}", "}", "across a live source"),
    ],
)  # fmt: skip
def test_a_slip_is_a_problem_with_its_line(old: str, new: str, message: str) -> None:
    assert WIRED.count(old) == 1, old
    text = WIRED.replace(old, new)
    machine, report = report_text(text, "wired.yaml")
    found = [p for p in report.problems if message in p.message]
    assert machine is None or report.problems
    assert found and all(p.line > 0 and p.fix for p in found), [str(p) for p in report.problems]


def test_without_a_circuit_probes_and_states_say_so() -> None:
    start, end = WIRED.index("circuit:\n  ground"), WIRED.index("parts:\n")
    _, problems = parse_machine(WIRED[:start] + WIRED[end:], "wired")
    assert {"there is no circuit in this file" in p.message for p in problems} == {True}


def test_the_check_proves_the_healthy_machine_within_its_limits() -> None:
    _, report = report_text(WIRED.replace("low: 10 V, high: 13 V", "low: 12 V, high: 13 V"), "w")
    assert [p for p in report.problems if "within the limits of heater_volts" in p.message]
    _, sound = report_text(WIRED, "w")
    assert sound.problems == ()


def test_a_fault_that_no_probe_shows_is_noted() -> None:
    text = WIRED.replace("{on: H1, mode: open}", "{on: H1, mode: high resistance, ohms: 9.8 ohm}")
    _, report = report_text(text, "w")
    assert [n for n in report.notes if "no probe shows the fault heater_open" in n.message]


def test_points_that_no_reading_may_touch_are_not_offered() -> None:
    """With the pack in nothing is measured in ohms, whatever the file lets one reach."""
    machine = machine_of()
    inside = replace(machine, conditions=tuple(
        replace(c, closed=(), open=("lid",)) if c.id == "idle" else c for c in machine.conditions
    ), digest="")  # fmt: skip
    made = [t for t in wire(inside, None).tests if t.generated and t.condition == "idle"]
    assert all(t.quantity == "volts" for t in made)
