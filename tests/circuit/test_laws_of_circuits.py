"""What holds of every circuit: power, reciprocity, superposition, monotony of the curved laws."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from knowngood.circuit.circuit import Circuit
from knowngood.circuit.device import Battery, Diode, Lamp, Resistor
from knowngood.circuit.element import Element
from knowngood.circuit.laws import GMIN, VT, Filament, Junction, curves, junction
from knowngood.circuit.probe import Probe
from knowngood.circuit.solve import solve

ohms = st.floats(-2, 5).map(lambda e: float(f"{10**e:.4g}"))
volts = st.floats(-60, 60).map(lambda v: round(v, 3))


@st.composite
def networks(draw: st.DrawFn, curved: bool = False, sources: bool = True) -> Circuit:
    """3 to 8 nodes on a tree of resistors, more resistors across, batteries, diodes, lamps."""
    count = draw(st.integers(3, 8))
    nodes = [f"n{i}" for i in range(count)]
    pair = st.lists(st.sampled_from(nodes), min_size=2, max_size=2, unique=True)
    elements: list[Element] = []
    for i in range(1, count):
        pins = {"a": nodes[i], "b": nodes[draw(st.integers(0, i - 1))]}
        elements.append(Resistor(ref=f"R{i}", pins=pins, ohms=draw(ohms)))
    for k in range(draw(st.integers(0, 5))):
        a, b = draw(pair)
        elements.append(Resistor(ref=f"X{k}", pins={"a": a, "b": b}, ohms=draw(ohms)))
    for k in range(draw(st.integers(1, 3)) if sources else 0):
        plus, minus = draw(pair)
        inside = draw(st.floats(0.05, 10))
        pins = {"plus": plus, "minus": minus}
        elements.append(Battery(ref=f"B{k}", pins=pins, volts=draw(volts), ohms=inside))
    for k in range(draw(st.integers(1, 4)) if curved else 0):
        a, b = draw(pair)
        if draw(st.booleans()):
            elements.append(Diode(ref=f"D{k}", pins={"anode": a, "cathode": b}))
        else:
            watts = draw(st.floats(1, 100))
            elements.append(Lamp(ref=f"L{k}", pins={"a": a, "b": b}, volts=12.0, watts=watts))
    return Circuit("drawn", "n0", tuple(elements))


def node_volts(circuit: Circuit) -> dict[str, float]:
    return {n: float(v) for n, v in solve(circuit).nodes.items() if v is not None}


@settings(max_examples=60, deadline=None)
@given(networks(curved=True))
def test_power_in_is_power_out(circuit: Circuit) -> None:
    """What the batteries' chemistry gives, everything else turns to heat; and no amps are lost."""
    solution = solve(circuit)
    nodes = {n: float(v or 0.0) for n, v in solution.nodes.items()}
    given_, lost, leaving = 0.0, 0.0, dict.fromkeys(nodes, 0.0)
    for element in circuit.elements:
        amps = float(solution.currents[element.ref] or 0.0)
        first, second = element.pins.values()
        if isinstance(element, Battery):
            given_ += element.volts * amps
            lost += element.ohms * amps**2
            amps = -amps  # counted out of plus
        else:
            lost += (nodes[first] - nodes[second]) * amps
        leaving[first] += amps
        leaving[second] -= amps
    scale = max(1.0, sum(abs(float(i or 0.0)) for i in solution.currents.values()))
    assert given_ == pytest.approx(lost, rel=1e-7, abs=1e-9 * scale)
    assert max(map(abs, leaving.values())) < 1e-9 * scale
    assert given_ > -1e-9 * scale


@settings(max_examples=60, deadline=None)
@given(networks(sources=False), st.data())
def test_reciprocity(circuit: Circuit, data: st.DataObject) -> None:
    """A battery here gives the amps there that it would give here from there."""
    four = [data.draw(st.sampled_from(circuit.nodes)) for _ in range(4)]
    if four[0] == four[1] or four[2] == four[3]:
        return

    def amps(source: list[str], meter: list[str]) -> float:
        battery = Battery(
            ref="B", pins={"plus": source[0], "minus": source[1]}, volts=10.0, ohms=1.0
        )
        link = Resistor(ref="M", pins={"a": meter[0], "b": meter[1]}, ohms=1.0)
        both = replace(circuit, elements=(*circuit.elements, battery, link))
        return float(solve(both).currents["M"] or 0.0)

    assert amps(four[:2], four[2:]) == pytest.approx(amps(four[2:], four[:2]), rel=1e-8, abs=1e-11)


@settings(max_examples=60, deadline=None)
@given(networks())
def test_superposition(circuit: Circuit) -> None:
    """Without curved elements, the volts of all batteries are the sum of those of each."""
    total = dict.fromkeys(circuit.nodes, 0.0)
    batteries = [e for e in circuit.elements if isinstance(e, Battery)]
    for alone in batteries:
        others = tuple(
            replace(e, volts=0.0) if isinstance(e, Battery) and e is not alone else e
            for e in circuit.elements
        )
        for node, value in node_volts(replace(circuit, elements=others)).items():
            total[node] += value
    together = node_volts(circuit)
    assert [together[n] for n in total] == pytest.approx(list(total.values()), abs=1e-9)


@settings(max_examples=40, deadline=None)
@given(networks(), st.data())
def test_the_ohms_range_reads_what_volts_over_amps_say(
    circuit: Circuit, data: st.DataObject
) -> None:
    """With the packs out, the ohms range between two nodes is what a battery sees there."""
    red, black = data.draw(st.permutations(circuit.nodes))[:2]
    states = {e.ref: False for e in circuit.elements if isinstance(e, Battery)}
    read = solve(circuit, probe=Probe("ohms", red, black), states=states).probe
    passive = tuple(e for e in circuit.elements if not isinstance(e, Battery))
    battery = Battery(ref="T", pins={"plus": red, "minus": black}, volts=1.0)
    amps = solve(replace(circuit, elements=(*passive, battery))).currents["T"]
    assert read == pytest.approx(1 / float(amps or 0.0), rel=1e-9)


@given(st.floats(0.2, 0.8), st.floats(1, 2), st.floats(1e-5, 1e-1))
def test_a_junction_goes_through_its_named_point(drop: float, ideality: float, at: float) -> None:
    law = junction(drop, at, ideality)
    amps, slope = curves({0: law}).amps(np.array([[drop]]))
    assert amps[0, 0] == pytest.approx(at, rel=1e-9)
    exact = (law.saturation + at - GMIN * drop) / (ideality * VT) + GMIN  # d/dv of Is e^(v/nVt)
    assert slope[0, 0] == pytest.approx(exact, rel=1e-9)


@pytest.mark.parametrize("law", [junction(0.55, 1e-3, 1.5), Filament(0.57, 6.86, 12.0)])
def test_curved_laws_rise_smoothly(law: Junction | Filament) -> None:
    """The slope is the derivative, everywhere and across the joint at -3 nVt."""
    columns = curves({0: law})
    v = np.linspace(-5, 0.9 if isinstance(law, Junction) else 15, 40_001)[:, None]
    amps, slope = columns.amps(v)
    assert (np.diff(amps[:, 0]) > 0).all()
    middle = np.diff(amps[:, 0]) / np.diff(v[:, 0])
    low, high = np.minimum(slope[:-1, 0], slope[1:, 0]), np.maximum(slope[:-1, 0], slope[1:, 0])
    room = 1e-3 * high + 1e-13
    assert ((middle > low - room) & (middle < high + room)).all()


def test_a_lamp_is_hot_at_its_rating_and_cold_at_rest() -> None:
    columns = curves({0: Filament(0.5, 6.0, 12.0)})
    amps, slope = columns.amps(np.array([[12.0], [0.0], [-12.0]]))
    assert amps[:, 0] == pytest.approx([2.0, 0.0, -2.0])
    assert slope[1, 0] == pytest.approx(2.0)


def test_thermal_volts_are_those_of_the_si() -> None:
    """kT/q at 300.15 K: 25.8649 mV (exact k and q of the 2019 SI)."""
    assert pytest.approx(0.0258649, abs=5e-8) == VT
    assert math.isclose(VT, 1.380649e-23 * 300.15 / 1.602176634e-19)
