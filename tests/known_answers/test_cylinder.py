"""Air and engines: moist air, jets, fan laws, compression by altitude, fuel mix."""

from __future__ import annotations

import math

import pytest

from knowngood.calculate.air import density, fan_at, jet, pressure_at
from knowngood.calculate.cylinder import (
    at_altitude,
    gauge_pressure,
    leak_at_sea_level,
    leak_down,
    oil_for,
    orifice_flow,
    pressure_ratio,
)

PSI = 6894.757293168361
FOOT = 0.3048


def test_moist_air() -> None:
    # CIPM-2007 at 20 degC, 101 325 Pa, 50 %: 1.1993 kg/m3, computed; CoolProp within 0.004 %.
    assert density(20.0) == pytest.approx(1.1993, abs=5e-5)


@pytest.mark.parametrize("celsius", [0.0, 15.0, 20.0, 35.0])
def test_moist_air_against_ideal_gases(celsius: float) -> None:
    # Independent: two ideal gases, saturation by Magnus (WMO constants, from memory).
    vapour = 0.5 * 611.2 * math.exp(17.62 * celsius / (243.12 + celsius))
    kelvin = celsius + 273.15
    ideal = (101_325 - vapour) / (287.05 * kelvin) + vapour / (461.5 * kelvin)
    assert density(celsius) == pytest.approx(ideal, rel=1.5e-3)


def test_jet_of_a_blower() -> None:
    # 1.2 kg/m3, 90 mm, 60 m/s: 27.48 N, 0.3817 m3/s, 824 W: computed.
    thrust, flow, power = jet(60, 0.090, 1.2)
    assert thrust == pytest.approx(27.48, abs=0.005)
    assert flow == pytest.approx(0.3817, abs=5e-5)
    assert power == pytest.approx(824, abs=0.5)


def test_fan_laws() -> None:
    assert fan_at(0.9) == pytest.approx((0.9, 0.81, 0.729))  # textbook: n, n^2, n^3


@pytest.mark.parametrize(("n", "psi"), [(1.4, 255), (1.3, 205), (1.2, 164)])
def test_compression_of_ratio_8(n: float, psi: float) -> None:
    assert gauge_pressure(8, n) / PSI == pytest.approx(psi, abs=0.5)  # computed


@pytest.mark.parametrize(("feet", "factor"), [(1000, 0.964), (2000, 0.930), (5000, 0.832)])
def test_pressure_by_altitude(feet: float, factor: float) -> None:
    assert pressure_ratio(feet * FOOT) == pytest.approx(factor, abs=5e-4)  # computed, ISA


@pytest.mark.parametrize(("metres", "pascal"), [(0, 101_325), (1000, 89_874.6), (2000, 79_495.2)])
def test_standard_atmosphere(metres: float, pascal: float) -> None:
    assert pressure_at(metres) == pytest.approx(pascal, rel=2e-5)  # ISO 2533, from memory


@pytest.mark.parametrize(("feet", "copied"), [(2000, 0.943), (3000, 0.915), (5000, 0.862)])
def test_the_copied_table_is_the_density_ratio(feet: float, copied: float) -> None:
    # `copied`: read in a motorcycle tuner's page, as in many others. It is the ratio of densities,
    # while a closed cylinder multiplies the pressure it starts from.
    metres = feet * FOOT
    density_ratio = pressure_ratio(metres) * 288.15 / (288.15 - 0.0065 * metres)
    assert copied == pytest.approx(density_ratio, abs=1e-3)
    assert copied - pressure_ratio(metres) > 0.012
    # Worked from the definition: same engine, both places.
    here = gauge_pressure(8, 1.3, metres)
    assert at_altitude(gauge_pressure(8, 1.3), metres) == pytest.approx(here)


def test_120_psi_at_5000_feet() -> None:
    # Read in a snowmobile magazine's letter: 120 psi at sea level is about 100 psi at 5000 ft.
    assert at_altitude(120, 5000 * FOOT) == pytest.approx(100, abs=0.5)


def test_fuel_mix_50_to_1() -> None:
    assert 1000 * oil_for(1.0, 50) == pytest.approx(20.0)  # definition
    assert 1000 * oil_for(3.785411784, 50) == pytest.approx(75.71, abs=5e-3)  # US gallon


@pytest.mark.parametrize(("ratio", "area"), [(0.9725, 2.9635), (0.8430, 1.3398), (0.6560, 1.0382)])
def test_air_through_an_orifice_against_the_tables(ratio: float, area: float) -> None:
    # NACA Report 1135, table I, Mach 0.2, 0.5 and 0.8: p/pt and A/A*; from memory. What passes, as
    # a share of the choked flow, is A*/A.
    assert orifice_flow(1e5, ratio * 1e5) == pytest.approx(1 / area, rel=1e-3)


@pytest.mark.parametrize("below", [0.0, 0.3, 0.528])
def test_an_orifice_chokes_at_the_textbook_ratio(below: float) -> None:
    assert orifice_flow(1e5, below * 1e5) == pytest.approx(1.0, abs=1e-6)


def test_the_same_leak_at_sea_level() -> None:
    # Independent: both flows by their Mach numbers; the area ratio that reads 82 of 100 psi at
    # 5000 ft gives at sea level what is claimed.
    def flow(upstream: float, downstream: float) -> float:
        mach = min(1.0, math.sqrt(5 * ((upstream / downstream) ** (2 / 7) - 1)))
        return upstream * mach / (1 + 0.2 * mach**2) ** 3

    def area(held: float, air: float) -> float:
        return flow(100 * PSI + air, held + air) / flow(held + air, air)

    leak = leak_at_sea_level(100 * PSI, 82 * PSI, 5000 * FOOT)
    held = 100 * PSI * (1 - leak / 100)
    assert area(held, 101_325) == pytest.approx(area(82 * PSI, pressure_at(5000 * FOOT)), rel=1e-6)
    assert leak_at_sea_level(100 * PSI, 82 * PSI, 0.0) == pytest.approx(
        leak_down(100 * PSI, 82 * PSI).percent)
    assert 18.0 < leak < 19.0  # the thinner air outside lets a little less through: 18 % there
