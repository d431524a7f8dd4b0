"""Wire gauges by ASTM B258 and ohms at 58 MS/m (IEC 60028)."""

from __future__ import annotations

import pytest

from knowngood.calculate.wire import awg_area, awg_diameter, awg_number, ohms_per_km


@pytest.mark.parametrize(
    ("gauge", "mm", "ohms"), [(10, 2.5882, 3.277), (12, 2.0525, 5.211), (18, 1.0237, 20.948)]
)
def test_gauges(gauge: int, mm: float, ohms: float) -> None:
    # Diameters by the formula of ASTM B258, ohms per km computed.
    assert awg_diameter(gauge) == pytest.approx(mm, abs=1e-4)
    assert ohms_per_km(awg_area(gauge)) == pytest.approx(ohms, abs=5e-4)


def test_the_two_gauges_that_define_the_others() -> None:
    # ASTM B258: 36 AWG is 0.0050 in, 4/0 is 0.4600 in.
    assert awg_diameter(36) == pytest.approx(0.127, rel=1e-12)
    assert awg_diameter(awg_number("4/0")) == pytest.approx(11.684, rel=1e-9)
