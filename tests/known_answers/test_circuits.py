"""The chain of a start circuit against exact rationals.

The chain, healthy: 320040000000000/16025000184023 V by lcapy, a symbolic circuit package. All other
figures: Gaussian elimination in whole fractions (the standard library's `fractions`), below, on
equations written out by hand for each network.
"""

from __future__ import annotations

from fractions import Fraction as F

import pytest

from knowngood.circuit.circuit import Circuit
from knowngood.circuit.faulted import Fault
from knowngood.circuit.netlist import parse_circuit
from knowngood.circuit.probe import Climbing, Probe
from knowngood.circuit.solve import solve

CHAIN = """
ground: B-
elements:
  - {ref: BT1, kind: battery, pins: {plus: B+, minus: B-}, volts: 20 V, ohms: 50 mohm}
  - {ref: F1, kind: fuse, pins: {a: B+, b: F1.out}, ohms: 5 mohm, rating: 30 A}
  - {ref: S1, kind: switch, pins: {a: F1.out, b: S1.out}, closed: true, ohms: 20 mohm}
  - {ref: S2, kind: switch, pins: {a: S1.out, b: S2.out}, closed: true, ohms: 20 mohm}
  - {ref: S3, kind: switch, pins: {a: S2.out, b: coil}, closed: true, ohms: 20 mohm}
  - {ref: L1, kind: resistor, pins: {a: coil, b: earth}, ohms: 80 ohm}
  - {ref: W1, kind: wire, pins: {a: earth, b: B-}, ohms: 10 mohm}
"""
TOP = Probe("volts", "coil", "B-", meter_ohms=10e6)
ACROSS = Probe("volts", "coil", "earth", meter_ohms=10e6)


def circuit(text: str) -> Circuit:
    found, problems = parse_circuit(text)
    assert found is not None, [str(p) for p in problems]
    return found


def gauss(matrix: list[list[F]], right: list[F]) -> list[F]:
    """The solution of a linear system, in fractions."""
    n = len(right)
    rows = [[*matrix[i], right[i]] for i in range(n)]
    for k in range(n):
        pivot = next(i for i in range(k, n) if rows[i][k])
        rows[k], rows[pivot] = rows[pivot], rows[k]
        rows[k] = [x / rows[k][k] for x in rows[k]]
        for i in range(n):
            if i != k:
                rows[i] = [x - rows[i][k] * y for x, y in zip(rows[i], rows[k], strict=True)]
    return [row[n] for row in rows]


def chain_exactly(contact: F, meter: F = F(10**7)) -> F:
    """Volts at the coil top of the chain, its middle switch having `contact` ohms."""
    source = F(50, 1000) + F(5, 1000) + F(20, 1000) + contact + F(20, 1000)
    load = F(80) + F(10, 1000)
    joined = load * meter / (load + meter)
    return 20 * joined / (source + joined)


def test_the_healthy_chain() -> None:
    exact = F(320040000000000, 16025000184023)  # lcapy
    assert exact == chain_exactly(F(20, 1000))
    shown = solve(circuit(CHAIN), probe=TOP).probe
    assert shown == pytest.approx(float(exact), abs=1e-11)
    assert float(exact) == pytest.approx(19.97129462245, abs=5e-12)


@pytest.mark.parametrize(("ohms", "printed"), [(10, 17.7593), (1000, 1.4815)])
def test_one_bad_contact(ohms: int, printed: float) -> None:
    fault = Fault("S2", "high resistance", float(ohms))
    shown = solve(circuit(CHAIN), [fault], TOP).probe
    assert shown == pytest.approx(float(chain_exactly(F(ohms))), abs=1e-11)
    assert shown == pytest.approx(printed, abs=5e-5)


@pytest.mark.parametrize("on", ["F1", "S1", "S2", "S3"])
def test_anything_open_upstream_reads_nothing(on: str) -> None:
    solution = solve(circuit(CHAIN), [Fault(on, "open")], TOP)
    assert solution.probe == pytest.approx(0.0, abs=1e-9)
    assert solution.nodes["coil"] == pytest.approx(0.0, abs=1e-9)


def test_an_open_is_no_large_resistor() -> None:
    """An open is no path at all: behind it a meter reads exactly nothing. 1e12 ohm in its place
    would show 20 pA in 80.01 ohm, which is 1.6 nV (Ohm's law)."""
    assert solve(circuit(CHAIN), [Fault("F1", "open")], TOP).probe == 0.0
    leaking = solve(circuit(CHAIN), [Fault("F1", "high resistance", 1e12)], TOP).probe
    assert leaking == pytest.approx(20 / 1e12 * 80.01, rel=1e-4)


@pytest.mark.parametrize("on", ["L1", "W1"])
def test_open_coil_or_open_ground_reads_the_pack(on: str) -> None:
    # Only the meter's 10 Mohm loads the pack: 20 x 1e7 / (1e7 + source ohms).
    exact = 20 * F(10**7) / (F(10**7) + F(115, 1000))
    shown = solve(circuit(CHAIN), [Fault(on, "open")], TOP).probe
    assert shown == pytest.approx(float(exact), abs=1e-9)
    assert shown == pytest.approx(19.9999998, abs=5e-8)


def test_across_the_coil_an_open_ground_reads_nothing() -> None:
    assert solve(circuit(CHAIN), [Fault("W1", "open")], ACROSS).probe == pytest.approx(0, abs=1e-9)
    assert solve(circuit(CHAIN), [Fault("L1", "open")], ACROSS).probe == pytest.approx(20, abs=1e-6)


def test_an_unbalanced_bridge_with_its_meter() -> None:
    """12 V behind 1/2 ohm; arms 100, 220, 330, 470 ohm; 1 kohm meter between the middles."""
    found = circuit(
        """
        ground: n
        elements:
          - {ref: B, kind: battery, pins: {plus: p, minus: n}, volts: 12 V, ohms: 0.5 ohm}
          - {ref: R1, kind: resistor, pins: {a: p, b: x}, ohms: 100 ohm}
          - {ref: R2, kind: resistor, pins: {a: x, b: n}, ohms: 220 ohm}
          - {ref: R3, kind: resistor, pins: {a: p, b: y}, ohms: 330 ohm}
          - {ref: R4, kind: resistor, pins: {a: y, b: n}, ohms: 470 ohm}
        """
    )
    g1, g2, g3, g4, gm, gb = F(1, 100), F(1, 220), F(1, 330), F(1, 470), F(1, 1000), F(2)
    p, x, y = gauss(
        [[gb + g1 + g3, -g1, -g3], [-g1, g1 + g2 + gm, -gm], [-g3, -gm, g3 + g4 + gm]],
        [12 * gb, F(0), F(0)],
    )
    shown = solve(found, probe=Probe("volts", "x", "y", meter_ohms=1000.0)).probe
    assert shown == pytest.approx(float(x - y), abs=1e-12)
    through = Probe("amps", "p", "x", meter_ohms=0.0)
    assert solve(found, probe=through).probe == pytest.approx(
        float(_shorted_arm(g2, g3, g4, gb)), abs=1e-12
    )
    assert float(p) < 12


def _shorted_arm(g2: F, g3: F, g4: F, gb: F) -> F:
    """Amps of an ideal ammeter across R1: all that R2 takes, as x lies at p."""
    lower = 1 / (1 / g3 + 1 / g4)
    p = 12 * gb / (gb + g2 + lower)
    return p * g2


def test_a_delta_on_a_potentiometer() -> None:
    """24 V on a pot of 1 kohm at 1/4, its wiper on a delta of 10, 20, 30 ohm (checked as three
    resistors and as its wye 5, 10/3, 10)."""
    delta = circuit(
        """
        ground: n
        elements:
          - {ref: B, kind: battery, pins: {plus: p, minus: n}, volts: 24 V}
          - ref: P1
            kind: potentiometer
            pins: {a: p, wiper: u, b: n}
            ohms: 1 kohm
            position: 0.25
          - {ref: R1, kind: resistor, pins: {a: u, b: v}, ohms: 10 ohm}
          - {ref: R2, kind: resistor, pins: {a: v, b: w}, ohms: 20 ohm}
          - {ref: R3, kind: resistor, pins: {a: w, b: u}, ohms: 30 ohm}
          - {ref: W, kind: wire, pins: {a: v, b: n}, ohms: 1 ohm}
          - {ref: X, kind: resistor, pins: {a: w, b: n}, ohms: 7 ohm}
        """
    )
    g = [F(1, 10), F(1, 20), F(1, 30)]
    up, down = F(1, 250), F(1, 750)
    u, v, w = gauss(
        [
            [up + down + g[0] + g[2], -g[0], -g[2]],
            [-g[0], g[0] + g[1] + 1, -g[1]],
            [-g[2], -g[1], g[1] + g[2] + F(1, 7)],
        ],
        [24 * up, F(0), F(0)],
    )
    legs = [1 / F(5), 1 / F(10, 3), 1 / F(10)]  # u, v, w
    star = gauss(
        [
            [up + down + legs[0], F(0), F(0), -legs[0]],
            [F(0), legs[1] + 1, F(0), -legs[1]],
            [F(0), F(0), legs[2] + F(1, 7), -legs[2]],
            [-legs[0], -legs[1], -legs[2], sum(legs, F(0))],
        ],
        [24 * up, F(0), F(0), F(0)],
    )
    assert star[:3] == [u, v, w]
    nodes = solve(delta).nodes
    for name, exact in (("u", u), ("v", v), ("w", w)):
        assert nodes[name] == pytest.approx(float(exact), abs=1e-12)


def test_windings_from_line_to_line() -> None:
    """Textbook: a healthy delta reads 2R/3 on each pair; one phase open reads 2R, R, R. Delta 10,
    20, 30 ohm reads 8.333, 13.333, 15."""
    text = """
        ground: n
        elements:
          - {{ref: M1, kind: winding3, pins: {{u: u, v: v, w: w}}, ohms: 20 ohm, form: {form}}}
          - {{ref: W, kind: wire, pins: {{a: u, b: n}}, ohms: 1 ohm}}
        """
    pairs = [("u", "v"), ("v", "w"), ("w", "u")]
    probes = [Probe("ohms", a, b) for a, b in pairs]
    delta, wye = circuit(text.format(form="delta")), circuit(text.format(form="wye"))
    for found in (delta, wye):
        assert [solve(found, probe=p).probe for p in probes] == pytest.approx([20, 20, 20])
    opened = [Fault("M1.uv", "open")]
    assert [solve(delta, opened, p).probe for p in probes] == pytest.approx([60, 30, 30])
    assert [solve(wye, [Fault("M1.u", "open")], p).probe for p in probes] == [
        "OL",
        pytest.approx(20),
        "OL",
    ]
    uneven = [
        Fault("M1.uv", "high resistance", 10.0),
        Fault("M1.vw", "high resistance", 20.0),
        Fault("M1.wu", "high resistance", 30.0),
    ]
    read = [solve(delta, uneven, p).probe for p in probes]
    assert read == pytest.approx([25 / 3, 40 / 3, 15])


def test_wire_by_gauge() -> None:
    """AWG 18 is 20.948 ohm/km at 58 MS/m (ASTM B258, IEC 60028)."""
    found = circuit(
        """
        ground: n
        elements:
          - {ref: W, kind: wire, pins: {a: p, b: n}, awg: 18, length: 2 m}
        """
    )
    read = solve(found, probe=Probe("ohms", "p", "n", lead_ohms=0.2)).probe
    assert read == pytest.approx(2 * 20.948e-3 + 0.2, rel=1e-5)


def test_a_diode_range_climbs_into_a_capacitor() -> None:
    """1 mA into 1000 uF climbs 1 V/s (I / C, textbook)."""
    found = circuit(
        """
        ground: n
        elements:
          - {ref: C1, kind: capacitor, pins: {a: p, b: n}, farads: 1000 uF}
          - {ref: D1, kind: diode, pins: {anode: n, cathode: p}}
        """
    )
    shown = solve(found, probe=Probe("diode", "p", "n", test_current=1e-3)).probe
    assert isinstance(shown, Climbing) and shown.unit == "volts" and shown.settles is None
    assert shown.per_second == pytest.approx(1.0, rel=1e-6)
    other_way = solve(found, probe=Probe("diode", "n", "p", test_current=1e-3)).probe
    assert isinstance(other_way, Climbing) and other_way.settles == pytest.approx(0.55, abs=1e-6)
