"""Packs: cells in series, charge from rest volts."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import brentq

from knowngood.calculate.battery import (
    CELL_VOLTS,
    dc_resistance,
    lead_acid_charge,
    lithium_volts,
    series_count,
)


@pytest.mark.parametrize(
    ("full", "cells"),
    [(21.0, 5), (25.2, 6), (42.0, 10), (58.8, 14), (63.0, 15), (84.0, 20)],
)
def test_cells_in_series(full: float, cells: int) -> None:
    assert series_count(full) == cells  # arithmetic, 4.2 V each


@pytest.mark.parametrize(
    ("volts", "charge"), [(12.6, 100), (12.4, 75), (12.2, 50), (12.0, 25), (11.7, 0)]
)
def test_lead_acid_at_rest(volts: float, charge: float) -> None:
    assert lead_acid_charge(volts) == charge  # US Army TM 5-3805-262-20


def test_rest_volts_of_a_lithium_cell_follow_from_the_published_electrodes() -> None:
    """The table against the electrode curves of Chen et al. 2020 (from memory), solved here: the
    lithium in both electrodes is constant, charge is linear between 2.5 V and 4.2 V."""
    negative = 0.75 * 85.2e-6 * 33133.0  # share x thickness x most lithium, mol/m2
    positive = 0.665 * 75.6e-6 * 63104.0
    lithium = 0.75 * 85.2e-6 * 29866.0 + 0.665 * 75.6e-6 * 17038.0

    def volts(x: float) -> float:
        y = (lithium - negative * x) / positive
        u_p = (
            -0.8090 * y + 4.4875 - 0.0428 * np.tanh(18.5138 * (y - 0.5542))
            - 17.7326 * np.tanh(15.7890 * (y - 0.3117)) + 17.5842 * np.tanh(15.9308 * (y - 0.3120))
        )  # fmt: skip
        u_n = (
            1.9793 * np.exp(-39.3631 * x) + 0.2482 - 0.0909 * np.tanh(29.8538 * (x - 0.1234))
            - 0.04478 * np.tanh(14.9159 * (x - 0.2769)) - 0.0205 * np.tanh(30.4444 * (x - 0.6103))
        )  # fmt: skip
        return float(u_p - u_n)

    empty = brentq(lambda x: volts(x) - 2.5, 0.001, 0.3)
    full = brentq(lambda x: volts(x) - 4.2, 0.6, 0.999)
    solved = [volts(x) for x in np.linspace(empty, full, 11)]
    assert solved == pytest.approx(CELL_VOLTS, abs=2e-4)


@pytest.mark.slow
def test_rest_volts_and_dc_resistance_of_a_simulated_cell() -> None:
    """PyBaMM, parameter set Chen2020 (J. Electrochem. Soc. 167 (2020) 080534): rest volts by charge
    from its electrode balance, and the two loads of IEC 61960-3 on its Doyle-Fuller-Newman model
    from 50 %: 1 A for 10 s, then 5 A for 1 s (0.2 C and 1 C of 5 Ah)."""
    import pybamm

    pybamm.set_logging_level("ERROR")
    values = pybamm.ParameterValues("Chen2020")
    balance = pybamm.lithium_ion.ElectrodeSOHSolver(values)
    for charge in range(0, 101, 10):
        x, y = balance.get_initial_stoichiometries(charge / 100)
        up = values.evaluate(values["Positive electrode OCP [V]"](pybamm.Scalar(y)))
        un = values.evaluate(values["Negative electrode OCP [V]"](pybamm.Scalar(x)))
        assert lithium_volts(charge) == pytest.approx(float(up - un), abs=1e-4)

    loads = pybamm.Experiment(
        [("Discharge at 0.2C for 10 seconds", "Discharge at 1C for 1 second")],
        period="0.5 seconds",
    )
    model = pybamm.lithium_ion.DFN()
    solved = pybamm.Simulation(model, parameter_values=values, experiment=loads).solve(
        initial_soc=0.5
    )
    first, second = solved.cycles[0].steps
    volts = [float(step["Voltage [V]"].entries[-1]) for step in (first, second)]
    amps = [float(step["Current [A]"].entries[-1]) for step in (first, second)]
    assert amps == pytest.approx([1.0, 5.0])
    ohms = dc_resistance(volts[0], amps[0], volts[1], amps[1])
    assert ohms == pytest.approx(22.49e-3, abs=0.02e-3)
