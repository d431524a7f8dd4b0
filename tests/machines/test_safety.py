"""Safety of the machine files that come along, and of files with one rule of it broken.

The rules are the trade's own (common practice): look, then dead tests, then live ones; the source
out and the capacitor measured before a hand is on anything inside; nothing energised is moved by
hand; what may be broken is looked at before it runs.
"""

from __future__ import annotations

import pytest

from knowngood.diagnosis.assess import assess, set_up
from knowngood.diagnosis.evidence import Evidence
from knowngood.diagnosis.steps import opening_order, taking_off, way_there
from knowngood.isolate.belief import Item
from knowngood.isolate.prices import Prices
from knowngood.machines.check import read_machine
from knowngood.machines.machine import Machine
from knowngood.machines.safety import safety_breaches, turns_by_hand, with_needs
from knowngood.machines.shipped import load_shipped
from knowngood.machines.table import build_table, complaint_of, looked_at_first
from knowngood.machines.wire import wire
from knowngood.measure.meter import load_shipped_meter
from knowngood.places.library import find_machine, shipped_machines
from knowngood.places.taking import read_for
from tests.machines.tiny import broken

METER = load_shipped_meter("generic-6000")
MACHINES = {name: find_machine(name).it for name in shipped_machines()}
CHARGED = sorted(n for n, m in MACHINES.items() if any(s.role == "discharge" for s in m.teardown))


def inside(machine: Machine, id: str) -> bool:
    """A step that is made in an open shell: hands on studs, plugs or phase leads."""
    steps = {s.id: s for s in machine.teardown}
    shells = {s.id for s in machine.teardown if s.role == "shell"}
    return steps[id].role not in ("source out", "discharge") and bool(
        shells & (with_needs(steps, (id,)) - {id})
    )


def test_the_five_battery_machines_with_a_shell_have_a_capacitor_to_measure() -> None:
    assert len(CHARGED) >= 5
    assert set(CHARGED) == {
        n for n, m in MACHINES.items() if any(s.role == "shell" for s in m.teardown)
    }


# -- the capacitor is measured before hands are inside


@pytest.mark.parametrize("name", CHARGED)
def test_no_hand_is_inside_before_the_capacitor_is_measured(name: str) -> None:
    """From a closed machine and from every live state, on the way to every state of the file."""
    machine = MACHINES[name]
    tried = 0
    for start in [None, *machine.conditions]:
        opened: frozenset[str] = frozenset()
        if start is not None:
            opened = frozenset(opening_order(machine, start.open, opened)) - set(start.closed)
        measured = any(s.role == "discharge" and s.id in opened for s in machine.teardown)
        for condition in machine.conditions:
            way = way_there(machine, condition, opened)
            off = [s.id for s in way.off]
            hands = [n for n, id in enumerate(off) if inside(machine, id)]
            put_back = [s.id for s in way.back if inside(machine, s.id)]
            if measured or not (hands or put_back):
                continue
            tried += 1
            at = [n for n, s in enumerate(way.off) if s.role == "discharge"]
            assert at, (start and start.id, condition.id, off)
            assert not hands or at[0] < hands[0], (condition.id, off)
            out = [n for n, s in enumerate(way.off) if s.role == "source out"]
            assert (out and out[0] < at[0]) or "pack_out" in opened, (condition.id, off)
    assert tried > 5


def test_the_way_to_the_saw_live_is_pack_shell_capacitor_leads_pack() -> None:
    machine = MACHINES["chainsaw-56v"]
    live = next(c for c in machine.conditions if c.id == "live_held")
    way = way_there(machine, live, frozenset())
    assert [s.id for s in way.off] == ["pack_out", "chain_off", "shell", "cap_safe", "motor_plug"]
    assert [s.id for s in way.back] == ["pack_out"]


def test_after_a_live_state_it_is_measured_again_before_the_next_plug() -> None:
    machine = MACHINES["chainsaw-56v"]
    states = {c.id: c for c in machine.conditions}
    way = way_there(machine, states["shop_motor"], frozenset({"chain_off", "shell", "motor_plug"}))
    assert [s.id for s in way.off] == ["pack_out", "cap_safe", "sensor_plug"]
    shut = way_there(machine, states["bare_run"], frozenset({"chain_off", "shell", "motor_plug"}))
    assert [s.id for s in shut.off] == ["pack_out", "cap_safe"]
    assert [s.id for s in shut.back] == ["motor_plug", "shell", "pack_out"]


def test_a_file_that_names_it_late_has_it_measured_all_the_same() -> None:
    wanted = ["shell", "motor_plug", "cap_safe"]
    order = opening_order(MACHINES["chainsaw-56v"], wanted, frozenset())
    assert order == ["pack_out", "shell", "cap_safe", "motor_plug"]  # the pack before the shell


@pytest.mark.parametrize("name", CHARGED)
def test_each_step_that_comes_off_has_the_source_out_and_the_capacitor_measured(name: str) -> None:
    machine = MACHINES[name]
    roles = {s.id: s.role for s in machine.teardown}
    outside = frozenset(s.id for s in machine.teardown if s.role == "shell")
    for step in machine.teardown:
        for opened in (frozenset[str](), outside):
            order = taking_off(machine, [step.id], opened)
            assert order[-1:] == [step.id] or step.id in opened
            at = {role: n for n, role in reversed([*enumerate(roles[o] for o in order)])}
            if "source out" in at:
                assert at["source out"] == 0, (step.id, order)
            hands = [n for n, o in enumerate(order) if inside(machine, o)]
            assert not hands or 0 < at["discharge"] < hands[0], (step.id, order)
            again = taking_off(machine, [step.id], opened.union(order) - {step.id})
            assert step.id in opened or again == [step.id], "measured once, it is not asked again"


@pytest.mark.parametrize("name", ["string-trimmer-40v", "chainsaw-56v", "mower-battery-56v"])
def test_a_shell_over_a_bulk_capacitor_needs_a_step_that_discharges_it(name: str) -> None:
    text = load_shipped(name)
    assert text.count("    role: discharge\n") == 1
    problems = read_machine(text.replace("    role: discharge\n", ""), name)[1]
    said = [p for p in problems if "no step shows it discharged" in p.message]
    assert len(said) == 1 and "C1 (" in said[0].message and "role: discharge" in said[0].fix
    assert said[0].line > 0


def test_the_same_where_only_the_part_list_tells_of_the_capacitor() -> None:
    text = broken(
        (", needs: [pack_out, shell],\n    role: discharge}", ", needs: [pack_out, shell]}"),
        ("{words: Switch, price: 5", "{words: Switch, contents: [bulk capacitor], price: 5"),
    )
    problems = read_machine(text, "tiny.yaml")[1]
    assert any("the bulk capacitor of switch" in p.message for p in problems)


# -- by hand

TURNED = (
    "Spin the fan by hand and read the volts", "Twist the head round with your fingers",
    "Flick the impeller with a finger", "Roll the wheel on by hand",
    "Move the blade with your hand",
    "Rotate the sprocket with two fingers", "With your fingers, turn the shaft",
    "Hold the trigger; turn the motor slowly by hand", "The head is turned by hand",
    "Nudge the rotor with a gloved hand", "Turn it round with your bare hands",
    "Crank the engine over by hand", "Spinning the spool by finger",
    "Swing the blade with one hand",
)  # fmt: skip
LEFT = (
    "Turn the sprocket with a drill", "Never turn the blade by hand",
    "Turn the key with two fingers",
    "Nothing energised is turned by hand", "Press the switch with your finger",
    "Move the throttle lever with your thumb", "Roll the mower on, both hands on the handle",
    "Hold the trigger by hand and let the motor turn",
)  # fmt: skip


@pytest.mark.parametrize("words", TURNED)
def test_a_live_test_that_moves_something_by_hand_is_refused(words: str) -> None:
    text = broken(("words: Volts behind the switch", f"words: {words!r}"))
    problems = read_machine(text, "tiny.yaml")[1]
    assert [p for p in problems if "turns something by hand in live" in p.message], words


@pytest.mark.parametrize("words", LEFT)
def test_what_is_no_turning_by_hand_is_not_refused(words: str) -> None:
    assert not turns_by_hand(words)
    text = broken(("words: Volts behind the switch", f"words: {words!r}"))
    assert read_machine(text, "tiny.yaml")[0] is not None


@pytest.mark.parametrize("name", sorted(MACHINES))
def test_no_file_that_comes_along_is_refused(name: str) -> None:
    assert list(safety_breaches(MACHINES[name])) == []


# -- dead before live


@pytest.mark.parametrize("name", ["blower-56v", "chainsaw-56v", "hedge-trimmer-36v",
                                  "string-trimmer-40v"])  # fmt: skip
@pytest.mark.parametrize("live", ["input_volts", "enable_volts", "rail_volts"])
def test_a_live_test_in_an_open_shell_waits_for_the_dead_one_of_its_path(
    name: str, live: str
) -> None:
    tests = {t.id: t for t in MACHINES[name].tests}
    before = [tests[i] for i in tests[live].after if i != "input_ohms"]
    assert before and all(t.quantity == "ohms" for t in before)
    assert not any(MACHINES[name].state_of(t).energised for t in before)


@pytest.mark.parametrize(
    ("name", "proof", "chafed"),
    [("blower-56v", "trigger_minus", "trigger_chafed"),
     ("chainsaw-56v", "chain_minus", "harness_chafed"),
     ("hedge-trimmer-36v", "chain_minus", "harness_chafed"),
     ("string-trimmer-40v", "signal_minus", "upper_chafed")],
)  # fmt: skip
def test_minus_is_looked_for_with_held_what_the_live_tests_hold(
    name: str, proof: str, chafed: str
) -> None:
    """A wire between two switches is on the meter only with both held, as then on the pack."""
    machine = wire(MACHINES[name], METER)
    tests = {t.id: t for t in machine.tests}
    held = machine.state_of(tests[proof]).held
    lives = [t for t in machine.tests if proof in t.after]
    assert {t.id for t in lives} >= {"enable_volts", "rail_volts", "drive_test"}
    for live in lives:  # a good trigger of the shop stands for the one of the machine
        state = machine.state_of(live)
        assert held and {h.removesuffix(" of the shop") for h in state.held} <= set(held), live.id
    seen = tests[proof].expect[chafed].pieces  # each of the wires that may be the one
    assert seen and all(p.kind == "between" and p.high < 100e3 for p in seen)


def test_the_saw_asks_for_the_dead_chain_before_the_live_one() -> None:
    setup = set_up(MACHINES["chainsaw-56v"], "dead", METER, Prices())
    tests = {t.id: t for t in setup.machine.tests}
    read = {"look_pack": "no", "look_terminals": "yes", "guard_click": "yes",
            "lock_off_feel": "yes", "turn_sprocket": "yes", "input_ohms": "300 kohm",
            "pack_swap": "no", "brake_cycles": "0.1 ohm"}  # fmt: skip
    items = tuple(Item(id, id, read_for(tests[id], text, METER)) for id, text in read.items())
    opened = frozenset({"pack_out", "chain_off", "brake_housing", "brake_plug"})
    found = assess(setup, Evidence(items, opened=opened), deadline=None, max_expansions=2)
    assert found.next is not None and not found.next.energised
    live = {"enable_volts", "rail_volts"}
    assert not live & {s.id for s in found.steps}
    assert all("first read chain_ohms" in found.held_back[id] for id in live)
    then = (*items, Item("n", "chain_ohms", read_for(tests["chain_ohms"], "0.3 ohm", METER)),
            Item("m", "chain_minus", read_for(tests["chain_minus"], "OL", METER)))  # fmt: skip
    found = assess(setup, Evidence(then, opened=opened), deadline=None, max_expansions=2)
    assert live <= {s.id for s in found.steps}


# -- a look before a run


@pytest.mark.parametrize(
    ("name", "complaint", "first"),
    [
        ("mower-battery-56v", "vibrates", {"look_blade", "blade_bolt"}),
        ("chainsaw-56v", "brake_fails", {"brake_hold"}),
        ("chainsaw-56v", "chain_comes_off", {"look_chain"}),
        ("blower-56v", "screams", {"look_impeller"}),
        ("mower-battery-56v", "dead", set()),
        ("mower-battery-56v", "cuts_out_slopes", set()),
    ],
)
def test_what_may_be_broken_is_looked_at_before_anything_runs(
    name: str, complaint: str, first: set[str]
) -> None:
    machine = MACHINES[name]
    one = complaint_of(machine, complaint)
    assert set(looked_at_first(machine, one)) == first
    table = build_table(machine, one, None, METER)
    runs = {t.id: set(t.after) for t in machine.tests
            if (c := machine.state_of(t)).energised and c.volts is None}  # fmt: skip
    assert len(runs) > 3
    for id, after in runs.items():
        assert set(table.rows[id].after) == after | first, id


def test_the_blade_is_looked_at_before_a_mower_that_vibrates_runs() -> None:
    setup = set_up(MACHINES["mower-battery-56v"], "vibrates", METER, Prices())
    found = assess(setup, Evidence(), deadline=None, max_expansions=2)
    assert not [s.id for s in found.steps if s.id in ("verify", "run_loaded", "rock_run")]
    assert "first read look_blade" in found.held_back["rock_run"]


# -- packs


def test_the_charger_is_watched_at_the_terminals_of_a_pack_off_the_cradle() -> None:
    tests = {t.id: t for t in MACHINES["pack-charger-56v"].tests}
    said = tests["charger_end"].caution
    assert said.index("off the mains") < said.index("off the cradle") < said.index("terminals")
    assert "no probe into a live cradle" in said and "no probe into a live cradle" in (
        tests["charge_amps"].caution
    )


def test_packs_of_fourteen_cells_are_tired_at_the_same_volts() -> None:
    """Same cells, same 10 A, same limit: a tenth below about 58 V."""
    found = {
        name: (limits.low, limits.high, limits.source)
        for name, machine in MACHINES.items() if name.endswith("56v")
        for t in machine.tests if t.id == "pack_load" and (limits := t.limits) is not None
    }  # fmt: skip
    assert len(found) == 4
    assert set(found.values()) == {(52.0, 59.2, "common practice (sag of more than 10 %)")}


@pytest.mark.parametrize(
    ("old", "new"),
    [("    probe: {read: ohms, red: T+, black: T-}\n",
      "    probe: {read: ohms, red: T+, black: T-}\n    holds: [verify]\n"),
     ("    verifies: true\n", "    verifies: true\n    holds: [rock_run]\n")],
)  # fmt: skip
def test_only_a_look_at_rest_holds_runs(old: str, new: str) -> None:
    text = load_shipped("mower-battery-56v")
    assert old in text
    _, problems = read_machine(text.replace(old, new, 1), "mine")
    assert any("holds runs and is no yes or no look at rest" in p.message for p in problems)


# -- what is live in an open shell: the highest volts that any entry of the file says

SUPPLY = "    volts: 50 V\n"


@pytest.mark.parametrize(
    ("change", "said"),
    [(("full_volts: 58.8 V ", "full_volts: 64 V "), "live with the shell open at 64 V"),
     (("rated_volts: 56 V", "rated_volts: 80 V"), "less than rated_volts, 80 V"),
     (("rated_volts: 56 V", "rated_volts: 80 V"), "live with the shell open at 80 V"),
     (("volts: 54.6 V", "volts: 78 V"), "live with the shell open at 78 V"),
     (("volts: 54.6 V", "volts: -78 V"), "live with the shell open at 78 V"),
     (("volts: 50.4 V .. 58.1 V", "volts: 70 V .. 83 V"), "open at 83 V"),
     (("full_volts: 58.8 V ", "full_volts: -84 V "), "full_volts is -84 V"),
     (("full_volts: 58.8 V ", "full_volts: -84 V "), "with the shell open at 84 V"),
     (("rated_volts: 56 V", "rated_volts: 0 V"), "rated_volts is 0 V"),
     ((SUPPLY, "    volts: -200 V\n"), "live with the shell open at 200 V"),
     ((SUPPLY, "    volts: -20 V\n"), "has volts of -20 V")],
)  # fmt: skip
def test_open_live_work_is_refused_by_the_highest_volts_of_the_file(
    change: tuple[str, str], said: str
) -> None:
    text = load_shipped("blower-56v")
    assert change[0] in text
    _, problems = read_machine(text.replace(*change, 1), "mine")
    assert any(said in p.message for p in problems), [p.message for p in problems]


def test_a_variant_of_more_volts_needs_its_own_full_volts() -> None:
    text = "based_on: blower-56v\nmachine: mine\nrated_volts: 80 V\n"
    _, problems = read_machine(text, "mine")
    found = [p for p in problems if "full_volts, 58.8 V, is less than rated_volts" in p.message]
    assert len(found) == 1 and "a variant" in found[0].fix
    assert any("live with the shell open at 80 V" in p.message for p in problems)
