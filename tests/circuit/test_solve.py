"""States, islands, meters and errors of one circuit."""

from __future__ import annotations

import pytest

from knowngood.circuit import solver
from knowngood.circuit.circuit import Circuit, CircuitError
from knowngood.circuit.element import Battery, Resistor
from knowngood.circuit.faulted import Fault
from knowngood.circuit.netlist import parse_circuit
from knowngood.circuit.probe import Climbing, NoReading, Probe
from knowngood.circuit.solve import Solution, solve
from tests.circuit import spice

PACK = "  - {ref: BT1, kind: battery, pins: {plus: B+, minus: B-}, volts: 20 V, ohms: 50 mohm}\n"


def circuit(elements: str, ground: str = "B-") -> Circuit:
    found, problems = parse_circuit(f"ground: {ground}\nelements:\n{elements}")
    assert found is not None, [str(p) for p in problems]
    return found


def refusal(found: Circuit, *faults: Fault, **more: object) -> CircuitError:
    with pytest.raises(CircuitError) as caught:
        solve(found, faults, **more)  # type: ignore[arg-type]
    return caught.value


def test_amps_that_circulate_leave_no_volts_elsewhere() -> None:
    """Where a network hangs on ground by one resistor alone, its amps are zero by conservation of
    charge, whatever circulates beyond."""
    seen = 0
    for seed in range(400):
        found = spice.random_circuit(seed)
        ties = [e for e in found.elements if "0" in e.pins.values()]
        if [e.KIND for e in ties] != ["resistor"]:
            continue
        seen += 1
        far = next(node for node in ties[0].pins.values() if node != "0")
        assert solve(found).nodes[far] == pytest.approx(0.0, abs=1e-11)
    assert seen >= 5


# Islands


def test_nodes_of_a_floating_island_have_no_volts() -> None:
    found = circuit(PACK + "  - {ref: BT2, kind: battery, pins: {plus: x, minus: y}, volts: 9 V}\n")
    solution = solve(found)
    assert solution.nodes == {"B-": 0.0, "B+": 20.0, "x": None, "y": None}
    assert solve(found, probe=Probe("volts", "x", "y")).probe == pytest.approx(9.0, abs=1e-9)
    ghost = solve(found, probe=Probe("volts", "x", "B-")).probe
    assert ghost == pytest.approx(0.0, abs=1e-9)
    assert solve(found, probe=Probe("ohms", "x", "B-")).probe == "OL"


def test_two_meters_join_islands_one_after_another() -> None:
    """A divider of the meter alone: the float takes the volts of the point touched."""
    found = circuit(PACK + "  - {ref: R, kind: resistor, pins: {a: x, b: y}, ohms: 1 kohm}\n")
    assert solve(found, probe=Probe("volts", "B+", "x")).probe == pytest.approx(0, abs=1e-9)


# Relays and modules

RELAY = PACK + (
    "  - {ref: S, kind: switch, pins: {a: B+, b: s}, ohms: 10 mohm, closed: true}\n"
    "  - {ref: K1, kind: relay, pins: {coil+: s, coil-: B-, com: B+, no: M+, nc: lamp},"
    " coil_ohms: 80 ohm, pull_in: 14 V, ohms: 5 mohm}\n"
    "  - {ref: RM, kind: resistor, pins: {a: M+, b: B-}, ohms: 10 ohm}\n"
    "  - {ref: RL, kind: resistor, pins: {a: lamp, b: B-}, ohms: 100 ohm}\n"
)


def test_a_relay_pulls() -> None:
    found = circuit(RELAY)
    pulled, released = solve(found), solve(found, states={"S": False})
    assert pulled.on == {"K1": True} and released.on == {"K1": False}
    assert pulled.nodes["M+"] == pytest.approx(19.87, abs=0.05)
    assert pulled.nodes["lamp"] == pytest.approx(0.0, abs=1e-9)
    assert released.nodes["lamp"] == pytest.approx(20 * 100 / 100.055, abs=1e-9)


@pytest.mark.parametrize(
    ("fault", "on", "motor"),
    [
        (Fault("K1", "open"), False, False),
        (Fault("K1", "stuck open"), False, False),
        (Fault("K1", "stuck closed"), True, True),
        (Fault("K1.coil", "high resistance", 200.0), False, False),
        (Fault("K1.no", "open"), True, False),
        (Fault("S", "high resistance", 60.0), False, False),
        (Fault("S", "high resistance", 20.0), True, True),
    ],
)
def test_faults_of_a_relay(fault: Fault, on: bool, motor: bool) -> None:
    solution = solve(circuit(RELAY), [fault])
    assert solution.on == {"K1": on}
    volts = solution.nodes["M+"]
    assert volts is not None and (volts > 19) is motor


def test_a_welded_contact_stays_with_the_switch_open() -> None:
    solution = solve(circuit(RELAY), [Fault("K1", "stuck closed")], states={"S": False})
    assert solution.on == {"K1": False}
    assert solution.nodes["M+"] == pytest.approx(19.9, abs=0.05)
    assert solution.nodes["lamp"] == pytest.approx(0.0, abs=1e-9)


def test_a_relay_that_holds_itself_has_two_states() -> None:
    found = circuit(
        PACK + "  - {ref: K1, kind: relay, pins: {coil+: c, coil-: B-, com: B+, no: c},"
        " coil_ohms: 80 ohm, pull_in: 14 V}\n"
    )
    error = refusal(found)
    assert error.kind == "states" and "2 consistent states: K1" in str(error)
    assert solve(found, states={"K1": True}).nodes["c"] == pytest.approx(20, abs=0.1)
    assert solve(found, states={"K1": False}).nodes["c"] == pytest.approx(0, abs=1e-9)


def test_a_buzzer_has_no_state() -> None:
    found = circuit(
        PACK + "  - {ref: K7, kind: relay, pins: {coil+: c, coil-: B-, com: B+, nc: c},"
        " coil_ohms: 80 ohm, pull_in: 14 V}\n"
    )
    error = refusal(found)
    assert error.kind == "states" and "no consistent state: K7" in str(error)


@pytest.mark.parametrize("count", [3, 14])
def test_a_chain_of_relays(count: int) -> None:
    """Each pulls the next; beyond twelve the states are followed instead of tried."""
    text = PACK
    for i in range(count):
        coil = "B+" if i == 0 else f"m{i - 1}"
        text += f"  - {{ref: K{i}, kind: relay, pins: {{coil+: {coil}, coil-: B-, com: B+, "
        text += f"no: m{i}}}, coil_ohms: 200 ohm, pull_in: 12 V}}\n"
    found = circuit(text)
    assert all(solve(found).on.values())
    broken = solve(found, [Fault("K1", "stuck open")]).on
    assert list(broken.values()) == [True] + [False] * (count - 1)


def test_followed_states_can_be_two_or_none() -> None:
    text = PACK
    for i in range(13):
        text += f"  - {{ref: K{i}, kind: relay, pins: {{coil+: c{i}, coil-: B-, com: B+, no: c{i}}}"
        text += ", coil_ohms: 200 ohm, pull_in: 12 V}\n"
    assert "2 consistent states" in str(refusal(circuit(text)))
    none = str(refusal(circuit(text.replace("no: c3", "nc: c3"))))
    assert "no consistent state: K3 switches itself off and on again" in none


MODULE = PACK + (
    "  - {ref: S, kind: switch, pins: {a: B+, b: en}, closed: true}\n"
    "  - {ref: U1, kind: module, pins: {plus: B+, minus: B-, enable: en, out: o},"
    " alive_above: 12 V, enable_above: 8 V, amps: 200 mA, enable_ohms: 10 kohm, out_volts: 5 V,"
    " out_ohms: 2 ohm}\n"
    "  - {ref: R, kind: resistor, pins: {a: o, b: B-}, ohms: 98 ohm}\n"
)


def test_a_module_lives_draws_and_feeds() -> None:
    solution = solve(circuit(MODULE), probe=Probe("amps", through="BT1"))
    assert solution.on == {"U1": True}
    assert solution.nodes["o"] == pytest.approx(4.9, abs=1e-9)
    # 200 mA of its own, 50 mA through the regulator, and the enable pin.
    assert solution.probe == pytest.approx(0.25 + 19.9873 / 10e3, abs=1e-5)
    dead = solve(circuit(MODULE), states={"S": False})
    assert dead.on == {"U1": False} and dead.nodes["o"] == pytest.approx(0, abs=1e-9)
    assert dead.currents["BT1"] == pytest.approx(0, abs=1e-12)


def test_a_module_that_pulls_its_own_supply_down_has_no_state() -> None:
    weak = MODULE.replace("50 mohm", "60 ohm")
    assert "no consistent state: U1" in str(refusal(circuit(weak)))
    assert solve(circuit(weak), [Fault("U1", "stuck open")]).on == {"U1": False}


def test_a_module_without_its_minus_is_dead() -> None:
    found = circuit(MODULE.replace("minus: B-, enable", "minus: lost, enable"))
    assert solve(found).on == {"U1": False}


# Meters


def test_amps_and_burden() -> None:
    found = circuit(PACK + "  - {ref: R, kind: resistor, pins: {a: B+, b: B-}, ohms: 1 ohm}\n")
    assert solve(found, probe=Probe("amps", through="R")).probe == pytest.approx(20 / 1.05)
    meter = Probe("amps", through="R", meter_ohms=0.2, lead_ohms=0.1)
    assert solve(found, probe=meter).probe == pytest.approx(20 / 1.35)
    across = Probe("amps", "B+", "B-", meter_ohms=0.01)
    assert solve(found, [Fault("R", "open")], across).probe == pytest.approx(20 / 0.06)
    assert solve(found, probe=Probe("amps", through="R", limit=10.0)).probe == "OL"


def test_an_ammeter_with_ohms_goes_beside_a_diode() -> None:
    found = circuit(
        PACK + "  - {ref: R, kind: resistor, pins: {a: B+, b: x}, ohms: 1 kohm}\n"
        "  - {ref: D, kind: diode, pins: {anode: x, cathode: B-}}\n"
    )
    ideal = solve(found, probe=Probe("amps", through="D")).probe
    assert ideal == pytest.approx(solve(found).currents["R"], rel=1e-9)
    error = refusal(found, probe=Probe("amps", through="D", meter_ohms=0.1))
    assert error.kind == "asked" and "Put a wire in series" in str(error)


def test_volts_and_the_meter_that_loads_them() -> None:
    found = circuit(PACK + "  - {ref: R, kind: resistor, pins: {a: B+, b: x}, ohms: 10 Mohm}\n")
    assert solve(found).nodes["x"] == pytest.approx(20.0)
    assert solve(found, probe=Probe("volts", "x", "B-")).probe == pytest.approx(10.0)
    assert solve(found, probe=Probe("volts", "B-", "x")).probe == pytest.approx(-10.0)
    assert solve(found, probe=Probe("volts", "x", "B-", limit=6.0)).probe == "OL"


def resistor(ohms: str) -> Circuit:
    return circuit(f"  - {{ref: R, kind: resistor, pins: {{a: x, b: B-}}, ohms: {ohms}}}\n")


@pytest.mark.parametrize(
    ("ohms", "shown"),
    [("0 ohm", 0.2), ("1 ohm", 1.2), ("39 Mohm", 39e6), ("41 Mohm", "OL"), ("2.9 kohm", 2900.2)],
)
def test_ohms_to_the_limit_of_the_meter(ohms: str, shown: float | str) -> None:
    probe = Probe("ohms", "x", "B-", test_current=1e-3, open_volts=3.0, limit=40e6, lead_ohms=0.2)
    got = solve(resistor(ohms), probe=probe).probe
    assert got == shown or got == pytest.approx(shown, rel=1e-6)


def test_the_diode_range() -> None:
    """Forward: its drop at the test current. Reverse, and two in series above the limit: OL."""
    found = circuit(
        "  - {ref: D1, kind: diode, pins: {anode: x, cathode: B-}, drop: 0.6 V, at: 1 mA}\n"
        "  - {ref: D2, kind: diode, pins: {anode: y, cathode: x}, drop: 0.6 V}\n"
    )
    assert solve(found, probe=Probe("diode", "x", "B-")).probe == pytest.approx(0.6, abs=1e-9)
    assert solve(found, probe=Probe("diode", "y", "B-")).probe == pytest.approx(1.2, abs=1e-9)
    assert solve(found, probe=Probe("diode", "y", "B-", limit=1.0)).probe == "OL"
    assert solve(found, probe=Probe("diode", "y", "B-", open_volts=1.1)).probe == "OL"
    assert solve(found, probe=Probe("diode", "B-", "x")).probe == "OL"
    both = [Fault("D1", "short")]
    assert solve(found, both, Probe("diode", "x", "B-")).probe == pytest.approx(0.0, abs=1e-9)
    assert solve(found, both, Probe("diode", "B-", "x")).probe == pytest.approx(0.0, abs=1e-9)


def test_one_shorted_transistor_shows_on_all_phases_with_the_motor_on() -> None:
    found = circuit(
        "  - {ref: Q, kind: bridge, pins: {plus: p, minus: B-, u: u, v: v, w: w}}\n"
        "  - {ref: M, kind: winding3, pins: {u: mu, v: mv, w: mw}, ohms: 50 mohm}\n"
        "  - {ref: Wu, kind: wire, pins: {a: u, b: mu}, ohms: 1 mohm, through: J2}\n"
        "  - {ref: Wv, kind: wire, pins: {a: v, b: mv}, ohms: 1 mohm, through: J2}\n"
        "  - {ref: Ww, kind: wire, pins: {a: w, b: mw}, ohms: 1 mohm, through: J2}\n"
    )
    short = [Fault("Q.u-", "short")]
    for states, shorted in (({}, "uvw"), ({"J2": False}, "u")):
        for phase in "uvw":
            shown = solve(found, short, Probe("diode", "B-", phase), states).probe
            assert isinstance(shown, float) and (shown < 0.1) is (phase in shorted)


def test_ohms_and_diode_across_a_live_source_are_refused() -> None:
    found = circuit(RELAY)
    for read in ("ohms", "diode"):
        shown = solve(found, probe=Probe(read, "M+", "B-")).probe  # type: ignore[arg-type]
        assert isinstance(shown, NoReading)
        assert f"{read} across a live source: 19.8" in shown.message
    assert solve(found, probe=Probe("ohms", "M+", "B-"), states={"BT1": False}).probe == 10.0


def test_ohms_climb_where_a_capacitor_fills_and_then_settle() -> None:
    found = circuit(
        "  - {ref: C, kind: capacitor, pins: {a: x, b: B-}, farads: 2200 uF}\n"
        "  - {ref: R, kind: resistor, pins: {a: x, b: B-}, ohms: 1 kohm}\n"
    )
    shown = solve(found, probe=Probe("ohms", "x", "B-", lead_ohms=0.5)).probe
    assert isinstance(shown, Climbing) and shown.unit == "ohms"
    assert shown.settles == pytest.approx(1000.5)
    assert shown.start == pytest.approx(0.5, abs=0.01)
    assert shown.per_second == pytest.approx(1 / 2200e-6, rel=1e-4)  # I / C over I
    small = circuit(
        "  - {ref: C, kind: capacitor, pins: {a: x, b: B-}, farads: 100 nF}\n"
        "  - {ref: R, kind: resistor, pins: {a: x, b: B-}, ohms: 1 kohm}\n"
    )
    assert solve(small, probe=Probe("ohms", "x", "B-")).probe == pytest.approx(1000.0)
    assert solve(found, [Fault("C", "short")], Probe("ohms", "x", "B-")).probe == 0.0
    opened = solve(found, [Fault("C", "open")], Probe("ohms", "x", "B-")).probe
    assert opened == pytest.approx(1000.0)


def test_a_lamp_cold_and_hot() -> None:
    """12 V 21 W: 6.857 ohm hot, a twelfth of it on the ohms range."""
    found = circuit("  - {ref: L, kind: lamp, pins: {a: x, b: B-}, volts: 12 V, watts: 21 W}\n")
    cold = solve(found, probe=Probe("ohms", "x", "B-")).probe
    assert cold == pytest.approx(144 / 21 / 12, rel=1e-4)
    lit = circuit(
        "  - {ref: L, kind: lamp, pins: {a: x, b: B-}, volts: 12 V, watts: 21 W}\n"
        "  - {ref: B, kind: battery, pins: {plus: x, minus: B-}, volts: 12 V}\n"
    )
    hot = solve(lit, probe=Probe("amps", through="L")).probe
    assert hot == pytest.approx(21 / 12, rel=1e-9)


def test_a_thermistor_follows_its_table() -> None:
    """NTC 10k, B 3950: 32.58 kohm at 0 degC in a published table; beta alone is 0.6 K
    off there, at 5.3 % a kelvin."""
    found = circuit(
        "  - {ref: T, kind: thermistor, pins: {a: x, b: B-}, ohms: 10 kohm, beta: 3950}\n"
    )
    probe = Probe("ohms", "x", "B-", limit=1e6)
    assert solve(found, probe=probe).probe == pytest.approx(10e3, rel=1e-9)
    cold = solve(found, probe=probe, states={"T": 0.0}).probe
    assert cold == pytest.approx(32580.7, rel=0.033)


# Errors


def test_contradictory_sources_are_named() -> None:
    found = circuit(
        "  - {ref: BT1, kind: battery, pins: {plus: B+, minus: B-}, volts: 20 V}\n"
        "  - {ref: W1, kind: wire, pins: {a: B+, b: x}, ohms: 0 ohm}\n"
        "  - {ref: BT2, kind: battery, pins: {plus: x, minus: B-}, volts: 18 V}\n"
        "  - {ref: R, kind: resistor, pins: {a: x, b: B-}, ohms: 1 ohm}\n"
    )
    error = refusal(found)
    assert error.kind == "contradictory" and "2 V" in str(error)
    assert all(name in str(error) for name in ("BT1", "W1", "BT2")) and "R," not in str(error)


def test_ideal_links_side_by_side_leave_their_current_undecided() -> None:
    found = circuit(
        PACK + "  - {ref: W1, kind: wire, pins: {a: B+, b: x}, ohms: 0 ohm}\n"
        "  - {ref: W2, kind: wire, pins: {a: B+, b: x}, ohms: 0 ohm}\n"
        "  - {ref: R, kind: resistor, pins: {a: x, b: B-}, ohms: 10 ohm}\n"
    )
    solution: Solution = solve(found)
    assert solution.nodes["x"] == pytest.approx(20 * 10 / 10.05)
    assert solution.currents["W1"] is None and solution.currents["W2"] is None
    assert solution.currents["R"] == pytest.approx(20 / 10.05)
    shown = solve(found, probe=Probe("amps", through="W1")).probe
    assert isinstance(shown, NoReading) and "undecided" in shown.message
    shared = solve(found, probe=Probe("amps", through="W1", meter_ohms=0.1)).probe
    assert shared == pytest.approx(0.0, abs=1e-9)


def test_no_convergence_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    found = circuit(
        PACK + "  - {ref: R, kind: resistor, pins: {a: B+, b: x}, ohms: 1 kohm}\n"
        "  - {ref: D5, kind: diode, pins: {anode: x, cathode: B-}}\n"
    )
    assert solve(found).nodes["x"] == pytest.approx(0.66, abs=0.02)
    monkeypatch.setattr(solver, "MOST_STEPS", 3)
    error = refusal(found)
    assert error.kind == "no convergence" and "D5" in str(error)


def test_two_states_are_told_however_many_idle_relays_stand_beside() -> None:
    """K1 holds itself behind K2's closed contact: off and on both agree."""
    text = PACK + (
        "  - {ref: K2, kind: relay, pins: {coil+: x, coil-: B-, com: B+, nc: m},"
        " coil_ohms: 200 ohm, pull_in: 12 V}\n"
        "  - {ref: K1, kind: relay, pins: {coil+: h, coil-: B-, com: m, no: h},"
        " coil_ohms: 200 ohm, pull_in: 12 V}\n"
    )
    for i in range(8):
        text += f"  - {{ref: I{i}, kind: relay, pins: {{coil+: i{i}, coil-: B-, com: B+, no: z{i}}}"
        text += ", coil_ohms: 200 ohm, pull_in: 12 V}\n"
    error = refusal(circuit(text))
    assert error.kind == "states" and "2 consistent states: K1" in str(error)


def test_a_module_with_resistance_in_its_output() -> None:
    """12 V behind 10 ohm into 30 ohm: 9 V, by Ohm's law."""
    found = circuit(
        PACK + "  - {ref: U1, kind: module, pins: {plus: B+, minus: B-, out: o}, alive_above: 5 V,"
        " out_volts: 12 V}\n"
        "  - {ref: R1, kind: resistor, pins: {a: o, b: B-}, ohms: 30 ohm}\n"
    )
    assert solve(found).nodes["o"] == pytest.approx(12.0)
    assert solve(found, [Fault("U1", "high resistance", 10.0)]).nodes["o"] == pytest.approx(9.0)


@pytest.mark.parametrize("red", ["P+", "P-"])
def test_ohms_from_a_floating_pack_to_the_frame_are_over_range_not_live(red: str) -> None:
    """Nothing leads from one to the other, so no volts stand between them, whichever pole."""
    pack = Battery(ref="BT", pins={"plus": "P+", "minus": "P-"}, volts=12.0, ohms=0.1)
    load = Resistor(ref="R", pins={"a": "S", "b": "B-"}, ohms=10.0)
    shown = solve(Circuit("", "B-", (pack, load)), probe=Probe("ohms", red, "B-")).probe
    assert shown == "OL"
