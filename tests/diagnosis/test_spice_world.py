"""A good machine on the bench that ngspice works reads what its table says of a good one.

Two roads from the file to a reading: our solver, its seven machines and their widening on one;
cards for ngspice of one machine drawn at random on the other. If either takes a probe for what it
is not (ohms for the diode range, the lowest pair for the spread of three), they part here.
"""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from knowngood.isolate.forecast import Forecast
from knowngood.isolate.hypotheses import NO_FAULT
from knowngood.measure.reading import Reading
from tests.circuit.spice import MISSING, installed, thermal_volts
from tests.spice_jobs import MACHINES, complaints, setup_of
from tests.spice_world import SpiceWorld

pytestmark = pytest.mark.skipif(not installed(), reason=MISSING)


def foreseen(forecast: Forecast, reading: Reading, spread: float) -> bool:
    """Whether some piece, widened by three standard uncertainties, holds it."""
    if reading.kind in ("over", "unsteady"):
        return any(p.kind == reading.kind for p in forecast.pieces)
    value = reading.value
    wide = 3 * math.hypot(reading.u_random, reading.u_shared, spread * value)
    for piece in forecast.pieces:
        low, high = piece.low, piece.high
        if piece.kind == "around":
            low, high = piece.low - 3 * piece.high, piece.low + 3 * piece.high
        if piece.kind in ("between", "log", "around") and low - wide <= value <= high + wide:
            return True
    return False


def world_of(machine: str, folder: Path, truth: str, seed: int) -> SpiceWorld:
    """A bench without slips on which this hypothesis is true."""
    setup = setup_of(machine, complaints(machine)[0])
    table, meter = setup.bench.table, setup.bench.meter
    assert meter is not None
    index = next(i for i, h in enumerate(table.hypotheses) if h.id == truth)
    return SpiceWorld(table, meter, np.random.default_rng(seed), index, slip=0.0,
                      machine=setup.machine, folder=folder, vt=thermal_volts(folder))  # fmt: skip


@pytest.mark.parametrize("machine", MACHINES)
def test_a_good_machine_reads_as_its_table_says(machine: str, tmp_path: Path) -> None:
    world = world_of(machine, tmp_path, NO_FAULT, 5)
    probed = [t for t in world.machine.tests if t.probe is not None and t.id in world.table.rows]
    odd, kinds = [], set()
    for test in probed:
        row = world.table.rows[test.id]
        reading = world.read(test.id).reading
        assert test.probe is not None
        kinds.add(test.probe.write if len(test.probe.pairs) > 1 else test.probe.read)
        if not foreseen(row.forecasts[row.good], reading, row.spread):
            odd.append((test.id, reading.text, row.forecasts[row.good]))
    assert not odd
    assert world.asked >= 15 and world.unsolved == 0
    assert "ohms" in kinds and "volts" in kinds


@pytest.mark.parametrize(
    ("machine", "shorted"), [("hedge-trimmer-36v", "ctrl_fet"), ("mower-battery-56v", "ctrl_short")]
)
def test_the_diode_range_and_the_spread_of_the_pairs(
    machine: str, shorted: str, tmp_path: Path
) -> None:
    """A junction drops half a volt or so, a shorted transistor some millivolts; an open phase makes
    the pairs differ by more than any range (common practice)."""
    good = world_of(machine, tmp_path, NO_FAULT, 5)
    assert 0.4 <= good.read("bridge_diode").reading.value <= 0.6
    assert abs(good.read("motor_pairs").reading.value) < 0.5  # the shared error of a low range
    short = world_of(machine, tmp_path, shorted, 5)
    assert abs(short.read("bridge_diode").reading.value) < 0.05
    pairs = world_of(machine, tmp_path, "motor_open", 5).read("motor_pairs").reading
    assert pairs.kind == "over"
