"""Propagation of uncertainty: inputs that do not fit."""

from __future__ import annotations

import numpy as np
import pytest

from knowngood.measure.propagate import mean_and_covariance, propagate


def test_an_exact_input_adds_nothing() -> None:
    result, covariance = propagate(lambda x: x[0] * x[1], [3.0, 2.0], [0.1, 0.0])
    assert result == pytest.approx([6.0])
    assert covariance == pytest.approx(np.array([[0.04]]))


def test_fully_shared_doubt_falls_out_of_a_difference() -> None:
    _, covariance = propagate(lambda x: x[0] - x[1], [3.0, 2.0], [[0.25, 0.25], [0.25, 0.25]])
    assert covariance[0, 0] == pytest.approx(0.0, abs=1e-12)


def test_what_does_not_fit_is_refused() -> None:
    with pytest.raises(ValueError, match=r"need a covariance of shape \(2, 2\)"):
        propagate(lambda x: x[0], [1.0, 2.0], [1.0])
    with pytest.raises(ValueError, match="below zero"):
        propagate(lambda x: x[0], [1.0], [[-1.0]])
    with pytest.raises(ValueError, match="no finite result"):
        propagate(lambda x: x[0] * np.inf, [1.0], [0.1])
    with pytest.raises(ValueError, match="two rounds"):
        mean_and_covariance([[1.0, 2.0]])
