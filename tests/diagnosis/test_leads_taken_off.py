"""What the sheet says of the leads comes off before a reading is held to its limits: the verdict
and `knowngood read` tell the same."""

from __future__ import annotations

from knowngood.calculate.verdict import conformity
from knowngood.diagnosis.assess import assess
from knowngood.diagnosis.evidence import Evidence
from knowngood.isolate.belief import Item
from knowngood.measure.typed import read_text
from tests.diagnosis.test_compared import METERS, setup_of


def test_a_switch_read_through_leads_is_held_to_its_limit_without_them() -> None:
    setup, meter = setup_of("mower-battery-56v", "generic-6000"), METERS["generic-6000"]
    reading = read_text("0.8 ohm", "ohms", meter)
    assert not meter.zeroed and reading.correction == -meter.lead_ohms
    answer = assess(setup, Evidence((Item("1", "key_cycles", reading),)), deadline=0.0)
    found = answer.readings[0]
    assert "0.6 ohm without the leads" in found.sentence
    # conformity by JCGM 106 of the thing itself, 0.8 ohm less 0.2 ohm of leads, limit 0.5 ohm
    assert found.verdict == conformity(0.8 - 0.2, reading.u, None, 0.5).verdict == "can't tell"
    assert conformity(0.8, reading.u, None, 0.5).verdict == "bad"
