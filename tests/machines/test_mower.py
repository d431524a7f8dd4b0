"""The mower that comes with the program: does the file do what a bench needs?"""

from __future__ import annotations

import math
import re

import numpy as np
import pytest

from knowngood.diagnosis.steps import cautions_at
from knowngood.isolate.belief import Item, weigh
from knowngood.isolate.forecast import Forecast, Piece
from knowngood.isolate.proof import judge_proof
from knowngood.machines.check import read_machine
from knowngood.machines.machine import Machine, Test
from knowngood.machines.shipped import load_shipped, shipped_names
from knowngood.machines.table import build_table, complaint_of, told_account
from knowngood.machines.wire import wire
from knowngood.measure.meter import load_shipped_meter
from knowngood.measure.units import DIMENSION_OF, format_value
from knowngood.places.taking import read_for
from tests.machines.whole_round import judged

NAME = "mower-battery-56v"
FILE = load_shipped(NAME)
MACHINE, PROBLEMS = read_machine(FILE, NAME)
assert MACHINE is not None, "\n".join(str(p) for p in PROBLEMS)
METERS = {n: load_shipped_meter(n) for n in ("generic-6000", "generic-2000")}
MOWER: Machine = wire(MACHINE, METERS["generic-6000"])


@pytest.mark.slow
def test_every_shipped_file_is_sound_and_named_as_it_says() -> None:
    assert NAME in shipped_names()
    for name in shipped_names():
        machine, problems = read_machine(load_shipped(name), name)
        assert machine is not None, [str(p) for p in problems]
        assert machine.id == name
    with pytest.raises(KeyError):
        load_shipped("no-such-machine")


def test_it_is_large_enough_to_be_of_use() -> None:
    assert len([p for p in MOWER.parts if p.contents]) >= 8
    assert len(MOWER.faults) >= 24 and len(MOWER.tests) >= 25
    assert [c.id for c in MOWER.complaints] == [
        "dead", "starts_stops", "cuts_out_slopes", "no_start_folded", "vibrates",
    ]  # fmt: skip
    assert len(MOWER.told) >= 4 and len(MOWER.causes) >= 6 and len(MOWER.release) >= 8


def test_pack_figures() -> None:
    # a lithium-ion cell is full at 4.2 V, so 14 in series at 58.8 V; touch limit 60 V dc
    # (IEC 61010-1, IEC 62368-1, from memory)
    assert MOWER.full_volts == pytest.approx(14 * 4.2)
    assert MOWER.full_volts is not None and MOWER.full_volts < 60
    limits = {t.id: t.limits for t in MOWER.tests}
    charged = limits["pack_charged"]
    assert charged is not None and charged.low == pytest.approx(14 * 4.05)


def test_the_capacitor_figures_of_the_caution() -> None:
    # 60 V, 1000 uF, 1 kohm, 5 s: V exp(-t / RC) = 0.40 V, first 60^2 / 1000 = 3.6 W
    (step,) = [s for s in MOWER.teardown if s.role == "discharge"]
    assert round(60 * math.exp(-5 / (1e3 * 1e-3)), 1) == 0.4
    assert "1 kohm, 5 W" in step.caution and "5 s" in step.caution and "0.4 V" in step.source
    assert "never a screwdriver" in step.caution


def test_blade_stop_is_the_published_three_seconds_and_seen() -> None:
    # 16 CFR 1205.5(a)(1)(iii): the blade stops within 3.0 s of release
    (check,) = [r for r in MOWER.release if r.id == "blade_stop"]
    assert "3.0 s" in check.words and "seen still" in check.words
    assert check.source == "16 CFR 1205.5(a)(1)(iii)" and check.safety


def test_the_dead_mower_follows_the_usual_shares() -> None:
    """Shares of a no-start in percent, common practice, give or take 15: switches and cable 35,
    pack with its charging and terminals 25, controller 15, harness 10, jam 10, motor 5."""
    groups = {
        "switches": ({"key_switch", "start_box", "bail_cable", "handle_switch"}, 35),
        "pack": ({"pack", "charger", "terminal_block"}, 25),
        "controller": ({"controller", "fuse"}, 15),
        "harness": ({"handle_harness"}, 10),
        "jam": ({"deck_clearing", "blade_set"}, 10),
        "motor": ({"blade_motor"}, 5),
    }
    table = build_table(MOWER, complaint_of(MOWER, "dead"), None, METERS["generic-6000"])
    listed = sum(h.weight for h in table.hypotheses if h.kind == "primary")
    for name, (parts, share) in groups.items():
        found = sum(h.weight for h in table.hypotheses if h.kind == "primary" and h.parts <= parts)
        assert abs(100 * found / listed - share) < 8, (name, found / listed)


@pytest.mark.parametrize(
    ("complaint", "part"),
    [
        ("starts_stops", "pack"),
        ("no_start_folded", "handle_harness"),
        ("dead", "pack"),
        ("vibrates", "blade_set"),
    ],
)
def test_what_each_complaint_points_at(complaint: str, part: str) -> None:
    table = build_table(MOWER, complaint_of(MOWER, complaint))
    by_part = {p.id: sum(h.weight for h in table.hypotheses if h.parts == {p.id})
               for p in MOWER.parts}  # fmt: skip
    assert max(by_part, key=lambda p: by_part[p]) == part


def test_a_slope_points_at_what_shakes() -> None:
    table = build_table(MOWER, complaint_of(MOWER, "cuts_out_slopes"))
    loose = sum(h.weight for h in table.hypotheses if h.kind == "primary" and h.shows is not None)
    steady = build_table(MOWER, complaint_of(MOWER, "dead"), None, METERS["generic-6000"])
    less = sum(h.weight for h in steady.hypotheses if h.kind == "primary" and h.shows is not None)
    assert loose > 0.4 > 2 * less


def test_what_the_customer_tried_moves_the_pack() -> None:
    table = build_table(MOWER, complaint_of(MOWER, "dead"), None, METERS["generic-6000"])
    told = {t.id: t for t in MOWER.told}
    before = weigh(table, []).of_parts()[frozenset({"pack"})]
    same = weigh(table, [], [told_account(table, told["swapped_pack_same"])])
    runs = weigh(table, [], [told_account(table, told["swapped_pack_runs"])])
    assert same.of_parts()[frozenset({"pack"})] < before / 5
    assert runs.of_parts()[frozenset({"pack"})] > 0.5


def typical(forecast: Forecast, test: Test) -> str:
    """What a person would type for the likeliest piece of a forecast."""
    if forecast.yes is not None:
        return "yes" if forecast.yes >= 0.5 else "no"
    piece: Piece = max(forecast.pieces, key=lambda p: p.share)
    if piece.kind == "over":
        return " ".join(["OL"] * max(1, len(test.compare)))
    if piece.kind == "unsteady":
        return "jumps"
    if piece.kind == "log":
        value = math.sqrt(piece.low * piece.high)
    else:
        value = piece.low if piece.kind == "around" else (piece.low + piece.high) / 2
    if test.compare:  # one reading lower than the others, all on one range
        most = 0.2 if test.quantity == "ohms" else 8.0
        each = [most] * (len(test.compare) - 1) + [most - value]
        return " ".join(f"{one:.2f}" for one in each)
    return format_value(value, DIMENSION_OF[test.quantity], 3)


@pytest.mark.parametrize("meter", list(METERS))
@pytest.mark.parametrize("fault", [f.id for f in MOWER.faults if f.parts])
def test_a_whole_round_of_tests_proves_the_right_part(fault: str, meter: str) -> None:
    """Every fault in turn: all tests are taken, each reading the likeliest, typed as text."""
    likeliest = max(MOWER.complaints, key=lambda c: c.given.get(fault, c.others))
    table = build_table(MOWER, likeliest, None, METERS[meter])
    items = []
    for test in wire(MOWER, METERS[meter]).tests:
        if test.quantity == "capacitance" and METERS[meter].limit("capacitance") is None:
            continue  # the cheap meter cannot; another test must do
        text = typical(test.expect.get(fault, test.good), test)
        reading = read_for(test, text, METERS[meter])
        assert reading.is_evidence, (test.id, text, reading.note)
        items.append(Item(test.id, test.id, reading))
    belief, proof = judged(table, items)
    (part,) = next(f for f in MOWER.faults if f.id == fault).parts
    if fault == "ctrl_capacitor" and meter == "generic-2000":
        assert not proof.proven  # only its capacitance proves it
        return
    assert proof.parts == {part}, (proof, belief.of_parts())
    assert proof.proven, proof.missing
    assert np.isclose(belief.p.sum(), 1)


def test_a_healthy_mower_accuses_no_part() -> None:
    table = build_table(MOWER, complaint_of(MOWER, "dead"), None, METERS["generic-6000"])
    items = [Item(t.id, t.id, read_for(t, typical(t.good, t), METERS["generic-6000"]))
             for t in MOWER.tests]  # fmt: skip
    belief = weigh(table, items)
    assert not judge_proof(belief).proven
    assert max(p for parts, p in belief.of_parts().items() if parts) < 0.2


def test_good_readings_are_within_the_limits_they_state() -> None:
    for test in MOWER.tests:
        if test.limits is None:
            continue
        reading = read_for(test, typical(test.good, test), METERS["generic-6000"])
        if reading.kind == "over":  # OL: above every limit
            assert test.limits.low is not None and test.limits.high is None, test.id
            continue
        value = reading.value
        assert test.limits.low is None or value >= test.limits.low, test.id
        assert test.limits.high is None or value <= test.limits.high, test.id


def test_every_test_says_what_a_good_one_reads_and_where_the_leads_go() -> None:
    for test in MOWER.tests:
        assert test.good_reads, test.id
        if test.quantity in ("volts", "diode", "capacitance"):
            assert test.red and test.black, test.id


def test_cautions_stand_at_the_step() -> None:
    conditions = {c.id: c for c in MOWER.conditions}
    by_hand = [t for t in MOWER.tests if re.search(r"\bby hand\b", t.words)]
    assert len(by_hand) >= 4
    for test in by_hand:
        condition = conditions[test.condition]
        assert not condition.energised and "pack_out" in condition.open
        assert test.caution or condition.caution
    for step in MOWER.teardown:
        if step.role == "shell" or step.id == "blade_off":
            assert "ack out" in step.caution
    open_live = [c for c in MOWER.conditions if c.energised and "cover" in c.open]
    assert open_live and all(c.volts or "say yes to it first" in c.caution for c in open_live)


def test_known_good_pack_only_after_the_input_is_not_shorted() -> None:
    after = {t.id: t.after for t in MOWER.tests}
    assert "input_ohms" in after["pack_swap"]
    conditions = {c.id: c for c in MOWER.conditions}
    for test in MOWER.tests:
        condition = conditions[test.condition]
        if condition.energised and "cover" in condition.open:
            assert "input_ohms" in test.after, test.id


def test_look_first_tests_need_no_opening() -> None:
    conditions = {c.id: c for c in MOWER.conditions}
    look = [t for t in MOWER.tests if t.look]
    assert len(look) >= 6
    assert all(set(conditions[t.condition].open) <= {"pack_out"} for t in look)
    order = list(MOWER.fixed_order)
    assert max(order.index(t.id) for t in look) < order.index("chain_ohms")


def test_a_shorted_transistor_takes_the_fuse_along() -> None:
    table = build_table(MOWER, complaint_of(MOWER, "dead"), None, METERS["generic-6000"])
    mine = {h.id: h.weight for h in table.hypotheses if h.kind == "primary"
            and h.marks[0] == "ctrl_short"}  # fmt: skip
    assert mine["ctrl_short+fuse_open"] / sum(mine.values()) == pytest.approx(0.6)
    assert set(mine) == {"ctrl_short", *(f"ctrl_short+{s}" for s in
                                         ("fuse_open", "block_burnt", "motor_hall"))}  # fmt: skip
    (pair,) = [h for h in table.hypotheses if h.id == "ctrl_short+fuse_open"]
    assert pair.parts == {"controller", "fuse"}
    # behind the blown fuse the input reads open, though the transistor is shorted
    row = table.rows["input_ohms"]
    index = table.hypotheses.index(pair)
    assert row.forecasts[row.index[index]].pieces[0].kind == "over"


def test_one_number_is_superseded_and_serials_are_parted() -> None:
    numbers = [n for p in MOWER.parts for n in p.numbers]
    assert any(n.supersedes for n in numbers)
    box = [n for p in MOWER.parts if p.id == "start_box" for n in p.numbers if "BM-561" in n.models]
    assert [bool(n.serial_from) for n in box] == [False, True]
    assert {m for n in numbers for m in n.models} == set(MOWER.models)


def test_where_the_handle_folds_the_caution_stands_at_the_step() -> None:
    """A folding handle pinches (common practice): fingers clear of the fold wherever a hand moves
    it or what runs through it, and the pack out before it is folded."""
    moves = re.compile(r"handle up and down|pinched at the fold|sleeve at the fold", re.I)
    tests = [t for t in MOWER.tests if moves.search(t.words)]
    steps = [t for t in MOWER.teardown if moves.search(t.words)]
    assert {t.id for t in tests} == {"look_fold", "chain_bend"}
    assert {t.id for t in steps} == {"fold_sleeve"}
    said = [" ".join(cautions_at(MOWER.state_of(t), t)) for t in tests]
    said += [t.caution for t in steps]
    assert all("Fingers clear of the fold" in caution for caution in said), said
    checks = [c for c in MOWER.release if re.search(r"\bfolded\b", c.words)]
    assert [c.id for c in checks] == ["handle_folded"]
    assert "pack out before the handle is folded" in checks[0].caution
