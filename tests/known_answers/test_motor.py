"""Magnet motors: speed constant, wave shape, balance, braking, spun by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import brentq

from knowngood.calculate.motor import (
    AVERAGING,
    DOUBT_AT_ONE_SPEED,
    PEAK_PER_RMS,
    SLOWEST,
    back_volts,
    balance,
    braking,
    electrical_hertz,
    pair_ohms,
    speed_constant,
    true_volts,
    unbalance,
)

DEGREES = (np.arange(36_000) + 0.5) / 100


def trapezoid(shift: float) -> np.ndarray:
    corners = [0.0, 30.0, 150.0, 210.0, 330.0, 360.0]
    return np.interp((DEGREES - shift) % 360, corners, [0.0, 1.0, 1.0, -1.0, -1.0, 0.0])


def test_wave_shape_from_samples() -> None:
    # Peak / rms 1.3416 of a 120 degree trapezoid line to line, not 1.4142: computed.
    line = trapezoid(0) - trapezoid(120)
    rms = math.sqrt(np.mean(line**2))
    assert line.max() / rms == pytest.approx(1.3416, abs=1e-4)
    assert PEAK_PER_RMS["trapezoid"] == pytest.approx(line.max() / rms, rel=1e-4)
    shown = math.pi / (2 * math.sqrt(2)) * np.mean(np.abs(line)) / rms
    assert AVERAGING["trapezoid"] == pytest.approx(shown, rel=1e-5)
    assert 100 * (shown - 1) == pytest.approx(-0.65, abs=5e-3)  # computed with numpy


def test_a_trapezoid_taken_for_a_sine() -> None:
    # 5.1 % off: computed.
    off = speed_constant(5.0, 3000, "sine") / speed_constant(5.0, 3000, "trapezoid") - 1
    assert 100 * off == pytest.approx(-5.1, abs=0.05)


def test_constants_of_a_motor_of_1000_rpm_per_volt() -> None:
    # Ke 9.5493 mV/(rad/s) line peak, 6.7524 line rms of a sine; Kt 9.549 mN m/A: computed.
    assert 1e3 * back_volts(1000) == pytest.approx(9.5493, abs=5e-5)
    assert 1e3 * back_volts(1000) / PEAK_PER_RMS["sine"] == pytest.approx(6.7524, abs=5e-5)
    # Power in the pack's volts is power at the shaft: 1 A at the back volts of 100 rad/s.
    watts = back_volts(1000) * 100 * 1.0
    assert watts / 100 == pytest.approx(9.549e-3, abs=5e-7)


def test_electrical_frequency() -> None:
    assert electrical_hertz(1200, 4) == 80.0  # textbook


@pytest.mark.parametrize(
    ("three", "percent", "digits"),
    [
        ((460.0, 467.0, 450.0), 1.961, 5e-4),  # read in a published example of the definition
        ((203.0, 210.0, 212.0), 2.5, 0.1),  # read in a motor saver's manual, NEMA MG 1
        ((462.0, 463.0, 455.0), 1.1, 0.05),  # read in an engineers' forum, quoting NEMA MG 1
    ],
)
def test_unbalance(three: tuple[float, float, float], percent: float, digits: float) -> None:
    assert unbalance(*three) == pytest.approx(percent, abs=digits)


def test_unbalance_is_taken_from_the_average() -> None:
    # NEMA MG 1: 460, 467, 450 V have the average 459; the largest departure from it is 9 V.
    assert unbalance(460.0, 467.0, 450.0) == pytest.approx(100 * 9 / 459, rel=1e-12)


@pytest.mark.parametrize(("hertz", "percent"), [(400, -0.33), (780, -1.2), (1500, -4.4)])
def test_a_cheap_meter_at_frequency(hertz: float, percent: float) -> None:
    # One pole near 4.9 kHz, read in a published test of a handheld (99.8 % at 640 Hz, 97.4 % at
    # 1280, 89.5 % at 2560); percent computed.
    true = true_volts(10.0, hertz, bandwidth=4900.0)
    assert 100 * (10.0 / true - 1) == pytest.approx(percent, abs=0.05)


@pytest.mark.parametrize(("hertz", "share"), [(640, 0.998), (1280, 0.974), (2560, 0.895)])
def test_the_pole_fits_the_published_points(hertz: float, share: float) -> None:
    assert 1.0 / true_volts(1.0, hertz, bandwidth=4900.0) == pytest.approx(share, abs=0.012)


def test_drill_wander_between_the_three_readings() -> None:
    # 1 % wander of the drill gives a false unbalance of 0.92 % median, 1.9 % p95: computed. Each
    # reading divided by its own frequency shows none of it.
    random = np.random.default_rng(20260301)
    speeds = 1 + 0.01 * random.standard_normal((20_000, 3))
    false = np.array([unbalance(*three) for three in speeds])
    assert np.median(false) == pytest.approx(0.92, abs=0.03)
    assert np.quantile(false, 0.95) == pytest.approx(1.9, abs=0.06)
    assert np.quantile(false, 0.95) < DOUBT_AT_ONE_SPEED
    a, b, c = (float(v) for v in speeds[0])
    assert balance((8 * a, 8 * b, 8 * c), (80 * a, 80 * b, 80 * c)).unbalance < 1e-9


def test_the_first_pair_read_once_more_halves_a_steady_drift() -> None:
    # AB BC CA AB at speeds that rise evenly, 1 % a reading; both of AB averaged. Arithmetic: AB is
    # then 1.015, the average of the three 1.015, and the largest departure 0.5 %, not 1 %.
    ab, bc, ca, again = 1.0, 1.01, 1.02, 1.03
    assert unbalance(ab, bc, ca) == pytest.approx(100 * 0.01 / 1.01)
    assert unbalance((ab + again) / 2, bc, ca) == pytest.approx(100 * 0.005 / 1.015)


def test_hand_speed_is_refused() -> None:
    # Cogging ripples the speed by 30 % at 60 rpm, 0.08 % at 1200 (computed for an assumed motor).
    # Independent: the rotor's energy swings by the same amount at any speed, so w^2 = m^2 +- swing.
    def ripple(rpm: float, swing: float) -> float:
        return (math.sqrt(rpm**2 + swing) - math.sqrt(rpm**2 - swing)) / (2 * rpm)

    swing = brentq(lambda s: ripple(60, s) - 0.30, 0.0, 60.0**2)
    assert ripple(1200, swing) == pytest.approx(0.0008, abs=1e-4)
    assert ripple(SLOWEST, swing) < 0.015
    assert SLOWEST == 300
    for slow in (60, 299):
        with pytest.raises(ValueError, match="drill"):
            speed_constant(0.4, slow)
    assert speed_constant(0.4, 300) > 0


@pytest.mark.parametrize("leads", [2, 3])
def test_braking_against_a_three_phase_circuit(leads: int) -> None:
    # Independent: sine phases of a wye with R each, joined leads at one node, power lost = torque
    # x speed. A good motor brakes unevenly with a pair joined and hardest with all three: common
    # practice.
    rpm, ohms, per_volt = 120.0, 0.05, 500.0
    w = 2 * math.pi * rpm / 60
    line_peak = rpm / per_volt
    angles = np.radians(DEGREES)
    phase = [line_peak / math.sqrt(3) * np.sin(angles - k * 2 * math.pi / 3) for k in range(3)]
    joined = np.array(phase[:leads])
    currents = (joined - joined.mean(axis=0)) / ohms  # node at the mean of what is joined
    torque = np.sum(currents**2, axis=0) * ohms / w
    found = braking(per_volt, 2 * ohms, rpm, leads)  # type: ignore[arg-type]
    assert found.mean == pytest.approx(torque.mean(), rel=1e-6)
    assert found.most == pytest.approx(torque.max(), rel=1e-6)
    assert found.least == pytest.approx(torque.min(), rel=1e-6, abs=1e-6 * torque.max())


def test_turning_a_short_phase_by_phasors() -> None:
    # A wye with a quarter of one phase's turns short, by complex numbers.
    a, b, c = (f * np.exp(1j * k * 2 * math.pi / 3) for k, f in enumerate((0.75, 1.0, 1.0)))
    pairs = (abs(a - b), abs(b - c), abs(c - a))
    found = balance((float(pairs[0]), float(pairs[1]), float(pairs[2])))
    assert found.odd == "a" and found.turns_missing == pytest.approx(0.25, abs=1e-9)


def test_delta_and_wye_of_one_phase_resistance() -> None:
    assert pair_ohms(0.03, "delta") == pytest.approx(0.02)  # textbook: 2R/3
    assert pair_ohms(0.03, "wye") == pytest.approx(0.06)
    # R120 / R20 of copper 1.39293: computed from k = 234.5, read for annealed copper.
    assert pair_ohms(0.03, "wye", 20, 120) == pytest.approx(0.06 * 1.39293, rel=1e-5)
