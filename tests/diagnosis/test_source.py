"""Shipped machines whose live volts share one battery or pack: what two readings say together."""

from functools import cache

import pytest

from knowngood.circuit.probe import Probe
from knowngood.circuit.solve import solve
from knowngood.diagnosis.assess import Setup
from knowngood.isolate.belief import Belief, Item, weigh
from knowngood.isolate.forecast import Held
from knowngood.isolate.prices import Prices
from knowngood.isolate.proof import judge_proof, shown_out
from knowngood.machines.forecast_text import expected_words
from knowngood.machines.machine import Test
from knowngood.machines.wiring import Wiring
from knowngood.measure.typed import read_text
from knowngood.places.library import find_machine, find_meter, make_setup

MOWER, RIDER = "mower-battery-56v", "rider-start-12v"


@cache
def setup(machine: str, complaint: str) -> Setup:
    return make_setup(find_machine(machine).it, complaint, find_meter("generic-6000").it, Prices())


def read(at: Setup, *shown: tuple[str, str]) -> Belief:
    meter = at.bench.meter
    return weigh(at.bench.table, [
        Item(f"{n}", test, read_text(text, at.bench.table.rows[test].quantity, meter))
        for n, (test, text) in enumerate(shown)
    ])  # fmt: skip


def named(at: Setup, id: str) -> Test:
    return next(t for t in at.machine.tests if t.id == id)


def held(at: Setup, id: str, fault: str = "") -> Held:
    test = named(at, id)
    (piece,) = (test.expect[fault] if fault else test.good).pieces
    assert piece.held is not None
    return piece.held


def p(belief: Belief, *marks: str) -> float:
    return sum(float(x) for h, x in zip(belief.hypotheses, belief.p, strict=True)
               if set(marks) & set(h.marks))  # fmt: skip


def test_how_a_reading_moves_with_the_pack_is_solved_and_not_assumed() -> None:
    """48 to 58 V: to the return one to one; to the data contact, which has volts of its own, more;
    behind the 12 V supply not at all."""
    at = setup(MOWER, "dead")
    assert held(at, "pack_rest").moves == pytest.approx(10 / 53, rel=1e-3)
    assert held(at, "input_volts").moves == pytest.approx(10 / 53, rel=2e-3)
    assert held(at, "volts_p_plus_pd_outside").moves == pytest.approx(10 / (53 - 3.3), rel=5e-3)
    assert all(x.held is None for x in named(at, "enable_volts").good.pieces)
    wires = at.machine.wires
    assert wires is not None
    assert isinstance(at.machine.wiring, Wiring)
    states = at.machine.wiring.model.stands("pack_bench")
    low, high = (
        solve(wires.circuit, (), Probe("volts", "P+", "P-"), states, {"CELLS.volts": v})
        for v in (48.0, 58.0)
    )
    assert isinstance(low.probe, float)
    assert isinstance(high.probe, float)
    slope = (high.probe - low.probe) / held(at, "pack_rest").low
    assert held(at, "pack_rest").moves == pytest.approx(slope, rel=1e-3)


def test_a_flat_pack_is_another_span_and_a_charged_one_another_source() -> None:
    at = setup(MOWER, "dead")
    flat = held(at, "pack_rest", "pack_cell")  # 42 to 55.5 V in the file
    assert flat.low == pytest.approx(48.75)
    assert flat.moves == pytest.approx(13.5 / 48.75, rel=1e-3)
    assert all(x.held is None for x in named(at, "pack_charged").good.pieces)
    assert {"pack_charged", "pack_load"} <= at.bench.table.refills
    assert "pack_rest" not in at.bench.table.refills


def test_who_reads_one_alone_is_told_the_whole_range() -> None:
    at = setup(MOWER, "dead")
    good = named(at, "input_volts").good
    assert (good.pieces[0].low, good.pieces[0].high) == pytest.approx((47.0, 59.0), abs=0.1)
    assert expected_words(good, "volts", at.bench.meter) == "46.99 to 59 V"


def test_three_volts_of_one_low_pack_are_not_three_pieces_of_evidence() -> None:
    at = setup(MOWER, "dead")
    low = (("pack_rest", "48.4 V"), ("input_volts", "48.4 V"), ("input_tapped", "48.4 V"))
    one, three = read(at, low[0]), read(at, *low)
    assert p(three, "pack_cell") / p(three, "key_open") == pytest.approx(
        p(one, "pack_cell") / p(one, "key_open"), rel=0.15)  # fmt: skip


def test_a_volt_lost_between_pack_and_controller_is_seen_by_the_two_together() -> None:
    at = setup(MOWER, "dead")
    pack, stud = ("pack_rest", "52.6 V"), ("input_volts", "51.6 V")
    beyond = ("ctrl_dead", "block_burnt")  # a controller that draws, a burnt terminal block
    before = max(p(read(at, pack), *beyond), p(read(at, stud), *beyond))
    both = read(at, pack, stud)
    assert before < 0.2
    assert p(both, *beyond) > 0.95
    out = shown_out(both)
    assert {"key_open", "harness_open", "no_fault"} <= {
        m for h in both.hypotheses if h.id in out for m in (h.id, *h.marks)}  # fmt: skip
    for alone in (pack, stud):
        assert "key_open" not in shown_out(read(at, alone))


def test_a_loss_that_hangs_on_one_reading_of_the_pack_asks_for_the_pack_once_more() -> None:
    """What is behind the pack was read three times; the pack, which all lean on, only once."""
    behind = (("input_volts", "53.1 V"), ("input_tapped", "53.1 V"), ("input_volts", "53.1 V"))
    once = judge_proof(read(setup(MOWER, "dead"), ("pack_rest", "54.0 V"), *behind))
    assert not once.proven
    assert once.again == ("pack_rest",)


def test_four_tenths_of_a_volt_lost_before_the_free_lead_are_seen_against_the_battery() -> None:
    at = setup(RIDER, "no_crank")
    battery, lead = ("rest_volts", "12.60 V"), ("coil_lead_volts", "12.20 V")
    behind = ("battery_worn", "post_corroded", "cable_plus_bad", "start_chafed")
    assert p(read(at, battery), *behind) < 0.25
    assert p(read(at, lead), *behind) < 0.35
    assert p(read(at, battery, lead), *behind) > 0.95
    assert p(read(at, battery, ("coil_lead_volts", "12.48 V")), *behind) < 0.1


def test_a_loss_against_a_battery_that_may_have_moved_asks_for_the_battery_once_more() -> None:
    """12.7 V and 12.3 V behind it is what a battery reads, too, that loses its surface charge in
    between; read once more it has or has not. A drop under load needs no second look: it shows out
    the others wherever the battery stands."""
    at = setup(RIDER, "no_crank")
    lead = ("coil_lead_volts", "12.30 V")
    once = judge_proof(read(at, ("rest_volts", "12.70 V"), lead, lead))
    assert (once.proven, once.again) == (False, ("rest_volts",))
    twice = judge_proof(read(at, ("rest_volts", "12.70 V"), lead, lead, ("rest_volts", "12.70 V")))
    assert twice.again == ()
    moved = judge_proof(read(at, ("rest_volts", "12.70 V"), lead, lead, ("rest_volts", "12.31 V")))
    assert not moved.proven


def test_nothing_changes_before_a_reading_follows_the_source() -> None:
    at = setup(MOWER, "dead")
    assert read(at, ("fuse_ohms", "0.1 ohm")).nodes == at.bench.table.nodes
    assert len({n.level for n in read(at, ("pack_rest", "52.6 V")).nodes}) > 1
