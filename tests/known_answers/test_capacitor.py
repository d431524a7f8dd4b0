"""Capacitors: energy, bleeding, the climb on a diode range."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from knowngood.calculate.capacitor import (
    TOUCH,
    bleed,
    climb,
    seconds_to,
    stored_energy,
    volts_after,
)


def test_1000_uf_at_60_volts() -> None:
    assert stored_energy(1e-3, 60) == pytest.approx(1.8)  # computed
    assert seconds_to(30, 60, 1e-3, 10e3) == pytest.approx(6.931, abs=5e-4)  # computed


def test_through_a_meter_it_takes_an_hour() -> None:
    # 470 uF through a 10 Mohm meter, 60 to 30 V: 0.90 h, computed.
    assert seconds_to(30, 60, 470e-6, 10e6) / 3600 == pytest.approx(0.90, abs=0.006)


def test_bleeding_through_1_kohm_for_5_seconds() -> None:
    assert volts_after(5, 60, 1e-3, 1e3) == pytest.approx(0.40, abs=0.005)  # computed
    assert bleed(60, 1e-3, 1e3).first_watts == pytest.approx(3.6)  # computed


def test_against_a_solved_differential_equation() -> None:
    def flow(_t: float, y: np.ndarray) -> list[float]:
        return [-y[0] / (2.2e3 * 680e-6), y[0] ** 2 / 2.2e3]

    solved = solve_ivp(flow, (0, 3), [84.0, 0.0], rtol=1e-10, atol=1e-12)
    left, heat = float(solved.y[0, -1]), float(solved.y[1, -1])
    assert volts_after(3, 84, 680e-6, 2.2e3) == pytest.approx(left, rel=1e-8)
    gone = stored_energy(680e-6, 84) - stored_energy(680e-6, left)
    assert gone == pytest.approx(heat, rel=1e-8)


def test_climb_on_a_diode_range() -> None:
    assert climb(1e-3, 1e-3) == pytest.approx(1.0)  # computed: 1 mA into 1000 uF is 1 V/s


def test_touch_limits() -> None:
    # IEC 61010-1, IEC 62368-1 ES1: 60 V dc, 42.4 V peak, 30 V rms; from memory.
    assert (TOUCH.dc, TOUCH.peak, TOUCH.rms) == (60.0, 42.4, 30.0)
    assert TOUCH.peak / TOUCH.rms == pytest.approx(2**0.5, rel=2e-3)
    assert TOUCH.safe(-60) and not TOUCH.safe(63) and not TOUCH.safe(31, "rms")
