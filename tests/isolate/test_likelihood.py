"""Mass of a reading under a forecast: proper, and equal to plain numerical integration."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, stats

from knowngood.isolate.forecast import Forecast, Piece
from knowngood.isolate.likelihood import Mixture, Node, anything, extremeness, mass, nodes
from knowngood.measure.reading import Reading

EXACT = (Node(0, 0, 1),)


def reading(
    value: float | None,
    *,
    kind: str = "value",
    high: float | None = None,
    u_random: float = 0.02,
    u_shared: float = 0.0,
    step: float = 0.01,
    quantity: str = "volts",
) -> Reading:
    return Reading(
        kind=kind,  # type: ignore[arg-type]
        quantity=quantity,
        low=value,
        high=value if high is None and kind == "value" else high,
        unit="V",
        text=str(value),
        u_random=u_random,
        u_shared=u_shared,
        resolution=step,
    )


def forecast(*pieces: Piece) -> Mixture:
    return Mixture([Forecast(pieces)])


PIECES = {
    "around": (Piece("around", 12.4, 0.1), lambda x: stats.norm.pdf(x, 12.4, 0.1), (11, 14)),
    "between": (
        Piece("between", 12.0, 12.6),
        lambda x: stats.uniform.pdf(x, 12.0, 0.6),
        (12.0, 12.6),
    ),
}


@pytest.mark.parametrize("name", PIECES)
@pytest.mark.parametrize("shown", [12.05, 12.3, 12.59, 12.7])
def test_mass_is_the_integral_over_true_value_and_meter_error(name: str, shown: float) -> None:
    """Against scipy's adaptive quadrature of (density of the true value) x (normal error)."""
    piece, density, (low, high) = PIECES[name]
    u, step = 0.04, 0.01

    def inner(true: float) -> float:
        up = stats.norm.cdf((shown + step / 2 - true) / u)
        down = stats.norm.cdf((shown - step / 2 - true) / u)
        return float(density(true) * (up - down))

    expected, _ = integrate.quad(inner, low, high, points=[shown], limit=400)
    with_rounding = float(np.hypot(u, step / np.sqrt(12)))  # as a meter's budget states it
    found = mass(forecast(piece), reading(shown, u_random=with_rounding), EXACT)[0, 0]
    assert found == pytest.approx(expected, rel=1e-6, abs=1e-12)


@pytest.mark.parametrize(
    "pieces",
    [
        (Piece("around", 5.0, 0.2),),
        (Piece("between", 1.0, 3.0, 0.6), Piece("over", share=0.4)),
        (Piece("log", 0.5, 50.0, 0.7), Piece("unsteady", share=0.1), Piece("over", share=0.2)),
    ],
)
def test_what_may_be_shown_sums_to_one(pieces: tuple[Piece, ...]) -> None:
    mixture = forecast(*pieces)
    shown = np.arange(-20, 200, 0.05)
    total = sum(mass(mixture, reading(x, step=0.05, u_random=0.1), EXACT)[0, 0] for x in shown)
    total += mass(mixture, reading(1e9, kind="over"), EXACT)[0, 0]
    total += mass(mixture, reading(None, kind="unsteady"), EXACT)[0, 0]
    assert total == pytest.approx(1.0, abs=1e-6)


def test_over_range_is_censored_at_the_end_of_the_range() -> None:
    mixture = forecast(Piece("between", 100.0, 300.0))
    found = mass(mixture, reading(200.0, kind="over", u_random=0.0), EXACT)[0, 0]
    assert found == pytest.approx(0.5, abs=1e-6)


def test_nodes_carry_weight_one_and_with_the_blur_unit_variance() -> None:
    for with_scale in (False, True):
        at = nodes(with_scale)
        weights = np.array([n.weight for n in at])
        gains = np.array([n.gain for n in at])
        assert weights.sum() == pytest.approx(1.0)
        assert (weights * gains).sum() == pytest.approx(0.0)
        assert (weights * gains**2).sum() + 0.5 == pytest.approx(1.0)


@given(z=st.floats(-3, 3))
@settings(max_examples=50, deadline=None)
def test_shared_error_marginalised_over_nodes_is_nearly_normal(z: float) -> None:
    """One reading whose error is nearly all shared: the nodes must give a normal density."""
    mixture = forecast(Piece("around", 10.0, 0.0))
    r = reading(10.0 + z * 0.5, u_random=0.01, u_shared=0.5)
    at = nodes(False)
    found = float(mass(mixture, r, at)[0] @ np.array([n.weight for n in at]))
    expected = 0.01 * stats.norm.pdf(z * 0.5, 0, np.hypot(0.5, 0.01))
    assert found == pytest.approx(expected, rel=0.12)


def test_what_a_slip_shows_is_proper() -> None:
    shown = np.arange(-1100, 1100, 0.1)
    total = sum(anything(reading(float(x), step=0.1)) for x in shown)
    total += anything(reading(1e3, kind="over")) + anything(reading(None, kind="unsteady"))
    assert total == pytest.approx(1.0, abs=0.02)


@pytest.mark.parametrize(
    ("quantity", "zeros"), [("volts", 0.35), ("amps", 0.35), ("ohms", 0.10), ("diode", 0.10)]
)
def test_what_a_slip_leaves_near_zero_is_shared_out_over_the_digits_typed(
    quantity: str, zeros: float
) -> None:
    """A lost contact leaves what it leaves: a zero typed short holds all of it, its finer ones
    their share. ``zeros`` of all slips: common practice."""
    assert anything(reading(0.0, step=1.0, quantity=quantity)) == pytest.approx(zeros)
    shares = [anything(reading(0.0, step=s, quantity=quantity)) / s for s in (1e-4, 1e-5, 1e-6)]
    assert shares == pytest.approx([shares[0]] * 3)
    assert 0 < shares[0] < zeros / 1e-4


def test_extremeness_is_the_two_tailed_probability() -> None:
    mixture = forecast(Piece("around", 12.0, 0.3))
    r = reading(12.98, u_random=0.4, step=1e-6)
    expected = 2 * stats.norm.sf(0.98 / 0.5)
    assert extremeness(mixture, r)[0] == pytest.approx(expected, rel=1e-4)


def test_a_value_between_two_possible_ones_is_extreme_for_both() -> None:
    mixture = forecast(Piece("around", 0.0, 0.1, 0.5), Piece("around", 56.0, 0.5, 0.5))
    assert extremeness(mixture, reading(28.0))[0] < 1e-6
    assert extremeness(mixture, reading(56.0))[0] > 0.4
