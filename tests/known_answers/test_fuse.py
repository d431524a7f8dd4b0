"""Opening times of fuses."""

from __future__ import annotations

import math

import pytest

from knowngood.calculate.fuse import Kind, opening


@pytest.mark.parametrize(
    ("kind", "multiple", "shortest", "longest"),
    [
        # Read in a fuse maker's published limits for plastic blade fuses.
        ("blade", 1.35, 0.75, 600.0),
        ("blade", 1.6, 0.25, 50.0),
        ("blade", 2.0, 0.15, 5.0),
        ("blade", 3.5, 0.08, 0.5),
        ("blade", 6.0, 0.0, 0.15),
        # UL 248-14, read in fuse makers' guides.
        ("ul", 1.0, math.inf, math.inf),
        ("ul", 1.35, 0.0, 3600.0),
        ("ul", 2.0, 0.0, 120.0),
        # IEC 60127 time-lag, read in fuse makers' guides; at 2.1 x the least time is that of 2.75.
        ("time-lag", 1.5, 3600.0, math.inf),
        ("time-lag", 2.1, 0.4, 120.0),
        ("time-lag", 2.75, 0.4, 10.0),
        ("time-lag", 4.0, 0.15, 3.0),
    ],
)
def test_published_limits(kind: Kind, multiple: float, shortest: float, longest: float) -> None:
    assert opening(multiple, kind) == (shortest, longest)
