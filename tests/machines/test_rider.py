"""The riding mower that comes with the program: does its wiring read as the trade says it does?"""

from __future__ import annotations

import math
import re
from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest

from knowngood.circuit.circuit import Circuit
from knowngood.circuit.netlist import parse_circuit
from knowngood.circuit.solve import solve
from knowngood.isolate.belief import Item, weigh
from knowngood.isolate.forecast import Forecast
from knowngood.isolate.proof import judge_proof
from knowngood.isolate.table import Table
from knowngood.machines.ask import asked_test
from knowngood.machines.check import read_machine
from knowngood.machines.machine import Machine, Test
from knowngood.machines.shipped import load_shipped
from knowngood.machines.table import build_table, complaint_of, told_account
from knowngood.machines.wire import wire
from knowngood.measure.meter import load_shipped_meter
from knowngood.measure.typed import read_text
from tests.machines.shares import as_usual
from tests.machines.test_mower import typical
from tests.machines.whole_round import judged

NAME = "rider-start-12v"
PARSED, PROBLEMS = read_machine(load_shipped(NAME), NAME)
assert PARSED is not None, "\n".join(str(p) for p in PROBLEMS)
FILE: Machine = PARSED
METER = load_shipped_meter("generic-6000")
EXAMPLES = Path(__file__).parents[2] / "examples" / "circuits"


@lru_cache
def rider() -> Machine:
    """With what its wiring reads."""
    return wire(FILE, METER)


@lru_cache
def by_id() -> dict[str, Test]:
    return {t.id: t for t in rider().tests}


@lru_cache
def table_of(complaint: str) -> Table:
    return build_table(FILE, complaint_of(FILE, complaint), meter=METER)


def example(name: str) -> Circuit:
    circuit, problems = parse_circuit((EXAMPLES / f"{name}.yaml").read_text("utf-8"), name)
    assert circuit is not None, problems
    return circuit


def span(forecast: Forecast) -> tuple[float, float]:
    """Lowest and highest value of a forecast that has only values."""
    assert all(p.kind in ("between", "log", "around") for p in forecast.pieces), forecast
    lows = [p.low for p in forecast.pieces]
    highs = [p.low if p.kind == "around" else p.high for p in forecast.pieces]
    return min(lows), max(highs)


def test_there_are_at_most_sixty_tests_some_of_them_worked_out() -> None:
    """60: what a planner is asked to weigh at every step, whoever wrote the tests."""
    made = [t for t in rider().tests if t.generated]
    assert len(rider().tests) <= 60 and len(made) >= 3
    for test in made:
        assert test.probe is not None and test.probe.read in ("volts", "ohms")
        told = [f.id for f in rider().faults if test.expect.get(f.id, test.good) != test.good]
        assert told, test.id


def asked(red: str, black: str, condition: str) -> Test:
    """Two points that the file does not declare: what they read comes from the wiring alone."""
    return asked_test(rider(), red, black, "", condition)


def test_it_holds_what_such_a_machine_has() -> None:
    assert len(rider().faults) >= 15
    assert rider().wires is not None
    kinds = {e.KIND for e in rider().wires.circuit.elements}
    assert {"battery", "wire", "fuse", "switch", "relay", "lamp", "resistor"} <= kinds
    modes = {c.mode for f in rider().faults for c in f.changes}
    assert {"open", "short", "high resistance", "stuck open", "stuck closed", "leak"} <= modes
    corroded = [c for f in rider().faults for c in f.changes if c.mode == "high resistance"]
    assert len(corroded) >= 8 and all(c.ohms is not None and c.ohms.high > c.ohms.low
                                      for c in corroded)  # fmt: skip


def test_the_example_circuits_are_the_machine() -> None:
    """Every element of the examples is the machine's, but for how a switch stands."""
    assert rider().wires is not None
    own = rider().wires.circuit.by_ref
    for name in ("rider-cranking", "rider-kill-line"):
        for element in example(name).elements:
            there = own[element.ref]
            assert there.pins == element.pins and there.KIND == element.KIND, element.ref
            assert getattr(there, "ohms", 0) == getattr(element, "ohms", 0), element.ref


def test_a_good_one_cranks_as_good_ones_do() -> None:
    """Cranking current of a small single, 100 to 150 A, and 9.6 V or more on the posts: common
    practice. 0.2 V at most on each cable and on the contacts: TM 9-2320-211-20."""
    circuit = example("rider-cranking")
    shown = [solve(circuit, probe=p).probe for p in circuit.probes]
    battery, clamp, plus, contacts, cable, ground, coil, half, amps = (
        s for s in shown if isinstance(s, float)
    )
    assert 100 < amps < 150 and battery > 9.6
    assert clamp < 0.05 and max(plus, contacts, cable, ground) <= 0.2
    assert coil > 9 and half > 9
    # what goes round comes back: Kirchhoff over the thick loop
    posts = battery - clamp - plus - contacts - cable - ground
    assert posts == pytest.approx(amps * 0.084, rel=0.01)


@pytest.mark.parametrize(
    "test", ["drop_plus", "drop_contacts", "drop_starter_cable", "drop_ground_cable"]
)
def test_cranking_drops_keep_the_published_limit(test: str) -> None:
    # TM 9-2320-211-20: 0.2 V at most for each cable while cranking
    limits = by_id()[test].limits
    assert limits is not None and limits.high == 0.2 and "TM 9-2320-211-20" in limits.source
    assert span(by_id()[test].good)[1] <= 0.2


def test_rest_volts_follow_the_published_table() -> None:
    # TM 5-3805-262-20: 12.6 V full, 12.4 three quarters, 12.2 half, 12.0 a quarter, 11.7 empty
    rest = by_id()["rest_volts"]
    assert rest.limits is not None and "TM 5-3805-262-20" in rest.limits.source
    assert span(rest.good)[0] >= 12.2 and span(rest.good)[1] <= 12.9
    flat = span(rest.expect["battery_flat"])
    assert flat[1] < 12.2 and flat[0] < 11.7
    # one of six cells shorted: five sixths of 12.6 V (arithmetic)
    low, high = span(rest.expect["battery_cell"])
    assert low < 12.6 * 5 / 6 < high


def test_coil_ohms_are_those_of_a_solenoid() -> None:
    # 3 to 6 ohm: common practice
    low, high = span(by_id()["coil_ohms"].good)
    assert 3 <= low < high <= 6
    assert by_id()["coil_ohms"].expect["coil_open"].pieces[0].kind == "over"
    assert span(by_id()["coil_ohms"].expect["coil_short"])[1] < 1


def test_the_start_chain_splits_in_half() -> None:
    """Each point of the chain sees only the faults before it: the battery's volts behind it."""
    order = [asked("key.S", "B-", "chain_live"), by_id()["pto_out_volts"],
             asked("brake.2", "B-", "chain_live"), by_id()["small_terminal"]]  # fmt: skip
    dead = {"key_open": 0, "pto_open": 1, "brake_sw_open": 2}
    for fault, place in dead.items():
        for n, test in enumerate(order):
            low, high = span(test.expect[fault])
            assert (high < 0.5) if n >= place else (low > 12), (fault, test.id)


@pytest.mark.parametrize(
    ("condition", "grounded"),
    [("kill_seated", False), ("kill_braked", False), ("kill_left", True), ("kill_keyed", True)],
)
def test_the_kill_line(condition: str, grounded: bool) -> None:
    """Open with somebody on the seat and with the brake set; grounded when the seat is left with
    the pedal up, and with the key off (common practice)."""
    good = asked("kill.plug", "frame", condition).good
    assert good.pieces[0].kind == ("between" if grounded else "over")
    if grounded:
        assert span(good)[1] < 1


def test_charging() -> None:
    good = span(by_id()["charge_volts"].good)
    assert good[0] > 13.2 and good[1] < 14.8  # common practice: 13.5 to 14.7 V
    for fault in ("regulator_dead", "stator_dead", "charge_wire_open"):
        assert span(by_id()["charge_volts"].expect[fault])[1] < 13
    assert span(by_id()["charge_drop"].expect["charge_wire_open"])[0] > 1
    # above about 15 V a lead-acid battery gasses and loses water (common practice); only a
    # regulator that lets go gives that
    over = {f for f, reads in by_id()["charge_volts"].expect.items()
            if all(p.kind in ("between", "log", "around") for p in reads.pieces)
            and span(reads)[1] > 14.8}  # fmt: skip
    assert over == {"regulator_high"}
    assert span(by_id()["charge_volts"].expect["regulator_high"])[0] > 14.8


def test_a_regulator_without_its_ground_charges_too_little() -> None:
    """It holds the volts between its output and its own body. With 1 ohm of rust under the body the
    charging current lifts the frame above it, so the battery gets less than that (Ohm's law)."""
    text = """
ground: frame
elements:
  - {ref: G1, kind: battery, pins: {plus: post, minus: body}, volts: 14.4 V, ohms: 1 mohm}
  - {ref: R1, kind: resistor, pins: {a: body, b: frame}, ohms: OHMS}
  - {ref: BT1, kind: battery, pins: {plus: post, minus: frame}, volts: 12.6 V, ohms: 0.3 ohm}
"""
    posts = []
    for ohms in ("1 mohm", "1 ohm"):
        circuit, problems = parse_circuit(text.replace("OHMS", ohms), "regulator")
        assert circuit is not None, problems
        posts.append(solve(circuit).nodes["post"] or 0.0)
    sound, rusty = posts
    assert sound == pytest.approx(12.6 + 1.8 * 300 / 302)
    assert rusty == pytest.approx(12.6 + 1.8 * 300 / 1301)
    limits = by_id()["charge_volts"].limits
    assert limits is not None and limits.low is not None and limits.high is not None
    assert rusty < limits.low < sound < limits.high
    faults = {f.id: f for f in rider().faults}
    assert "regulator_ground" in faults["regulator_dead"].causes
    assert "regulator_ground" not in faults["regulator_high"].causes
    assert "bare metal" in by_id()["regulator_swap"].words


def test_a_mower_that_will_not_crank_follows_the_usual_shares() -> None:
    """Shares of click or no crank in percent, common practice: battery, cables and
    grounds 40, interlock switches and their setting 20, solenoid 15, starter 8, fuse and chafe 8,
    key 7."""
    groups = {
        "battery": ({"battery", "battery_charge", "joints", "cable_plus", "cable_starter",
                     "cable_ground"}, 40),
        "interlocks": ({"pto_switch", "brake_switch", "seat_switch", "linkage_setting"}, 20),
        "solenoid": ({"solenoid"}, 15),
        "starter": ({"starter"}, 8),
        "fuse and wires": ({"fuse", "fuse_holder", "harness"}, 8),
        "key": ({"key_switch"}, 7),
    }  # fmt: skip
    share = dict.fromkeys(groups, 0.0)
    whole = 0.0
    for complaint in ("no_crank", "clicks"):
        table = table_of(complaint)
        listed = [h for h in table.hypotheses if h.kind == "primary"]
        whole += sum(h.weight for h in listed)
        for name, (parts, _) in groups.items():
            share[name] += sum(h.weight for h in listed if h.parts <= parts)
    for name, (_, usual) in groups.items():
        assert as_usual(100 * share[name] / whole, usual), (name, share[name] / whole)


@pytest.mark.parametrize(
    ("complaint", "part"),
    [("slow", "battery"), ("no_spark", "harness"), ("dies", "seat_switch"),
     ("goes_flat", "battery_charge")],
)  # fmt: skip
def test_what_each_complaint_points_at(complaint: str, part: str) -> None:
    table = table_of(complaint)
    by_part = {p.id: sum(h.weight for h in table.hypotheses if p.id in h.parts)
               for p in rider().parts}  # fmt: skip
    assert max(by_part, key=lambda p: by_part[p]) == part


def test_what_the_customer_tried_moves_the_battery() -> None:
    table = table_of("no_crank")
    told = {t.id: t for t in rider().told}
    battery = [i for i, h in enumerate(table.hypotheses) if h.id == "battery_flat"]
    before = weigh(table, []).p[battery].sum()
    assert weigh(table, [], [told_account(table, told["jumped_same"])]).p[battery] < before / 3
    assert weigh(table, [], [told_account(table, told["jumped_runs"])]).p[battery] > 2 * before


def test_a_chafed_wire_takes_the_fuse_along() -> None:
    table = table_of("no_crank")
    weights = {h.id: h for h in table.hypotheses}
    for fault in ("feed_chafed", "start_chafed"):
        both = weights[f"{fault}+fuse_open"]
        assert both.parts == {"harness", "fuse"}
        assert both.weight > 0.9 * (both.weight + weights[fault].weight)
    # with the fuse out the chafe shows, and nothing else does
    low = span(by_id()["feed_short"].expect["feed_chafed"])
    assert low[1] < 20 and set(by_id()["feed_short"].expect) == {"feed_chafed"}
    assert by_id()["feed_short"].good.pieces[0].kind == "over"


@pytest.mark.parametrize("fault", [f.id for f in FILE.faults])
def test_a_whole_round_of_tests_proves_the_right_part(fault: str) -> None:
    """Every fault in turn: all tests are taken, each reading the likeliest, typed as text."""
    likeliest = max(rider().complaints, key=lambda c: c.given.get(fault, c.others))
    table = table_of(likeliest.id)
    items = []
    for test in rider().tests:
        text = typical(test.expect.get(fault, test.good), test)
        reading = read_text(text, test.quantity, METER)
        assert reading.is_evidence, (test.id, text, reading.note)
        items.append(Item(test.id, test.id, reading))
    belief, proof = judged(table, items)
    (part,) = next(f for f in rider().faults if f.id == fault).parts
    assert proof.parts == {part}, (proof, belief.of_parts())
    assert proof.proven, proof.missing
    assert np.isclose(belief.p.sum(), 1)


def test_a_healthy_mower_accuses_no_part() -> None:
    table = table_of("no_crank")
    items = [Item(t.id, t.id, read_text(typical(t.good, t), t.quantity, METER))
             for t in rider().tests]  # fmt: skip
    belief = weigh(table, items)
    assert not judge_proof(belief).proven
    assert max(p for parts, p in belief.of_parts().items() if parts) < 0.2


def test_cautions_stand_at_the_step() -> None:
    steps = {s.id: s for s in rider().teardown}
    assert "Negative off first, on last" in steps["bat_neg"].caution
    assert "minus goes on last" in steps["bat_neg"].traps[0]
    for c in rider().conditions:
        if not c.energised:
            continue
        assert c.caution, c.id
        if c.states.get("S1") is True and c.id not in ("crank_blades", "chain_shaken"):
            assert re.search(r"burst|one second|two seconds", c.caution.lower()), c.id
    for id in ("cranking", "chain_live", "as_is"):
        caution = next(c.caution for c in rider().conditions if c.id == id)
        assert "30 s at most, then 2 minutes of rest" in caution and "heels blocked" in caution
    charged = next(c.caution for c in rider().conditions if c.id == "charged")
    assert "no flame" in charged and any("hydrogen" in c for c in rider().cautions)
    fed = next(c.caution for c in rider().conditions if c.id == "sol_fed")
    assert "tagged, and never left in" in fed


def test_the_proof_matrix_is_in_the_release() -> None:
    checks = {r.id: r for r in rider().release}
    wanted = {
        "starts": "brake set, blades off - it starts",
        "no_crank_blades": "Blade switch on - no crank",
        "no_crank_brake": "Pedal up - no crank",
        "blades_off_seat": "rise from the seat - engine and blades stop",
        "no_jumper": "No jumper left in",
    }
    for id, words in wanted.items():
        assert words in checks[id].words and checks[id].safety


def test_wire_sizes_are_copper() -> None:
    # IEC 60228 / NBS Handbook 100: AWG 6 has 1.296 ohm per km at 20 degC
    assert rider().wires is not None
    cable = rider().wires.circuit.by_ref["W1"]
    assert math.isclose(getattr(cable, "ohms", 0.0), 0.6 * 1.296e-3, rel_tol=0.01)
