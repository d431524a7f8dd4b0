"""The motor pairs: one reading of their spread, whatever the meter is off on all three alike."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from knowngood.diagnosis.assess import Setup, assess, set_up
from knowngood.diagnosis.evidence import Evidence
from knowngood.isolate.belief import Item, weigh
from knowngood.isolate.forecast import Forecast, Piece
from knowngood.isolate.hypotheses import list_hypotheses
from knowngood.isolate.prices import Prices
from knowngood.isolate.table import make_row, make_table
from knowngood.machines.check import read_machine
from knowngood.machines.machine import Fault
from knowngood.machines.shipped import load_shipped
from knowngood.measure.meter import load_shipped_meter
from knowngood.measure.reading import Reading
from knowngood.places.taking import read_for

METERS = {name: load_shipped_meter(name) for name in ("generic-6000", "generic-2000")}
TESTS = {
    "mower-battery-56v": "motor_spun",
    "hedge-trimmer-36v": "motor_spun_volts",
    "chainsaw-56v": "motor_spun_volts",
}


@cache
def setup_of(name: str, meter: str) -> Setup:
    machine, problems = read_machine(load_shipped(name), name)
    assert machine is not None, problems
    return set_up(machine, "dead", METERS[meter], Prices())


def judged(name: str, meter: str, text: str) -> tuple[str, str, float]:
    """Verdict, sentence and belief in the motor after this one reading of the three pairs."""
    setup = setup_of(name, meter)
    test = next(t for t in setup.machine.tests if t.id == TESTS[name])
    item = Item("1", test.id, read_for(test, text, METERS[meter]))
    answer = assess(setup, Evidence((item,)), deadline=0.0)
    (found,) = answer.readings
    motor = next(p for p in answer.parts if "otor" in p.words)
    return found.verdict, found.sentence, motor.belief


@pytest.mark.parametrize("name", list(TESTS))
def test_a_gain_error_common_to_the_pairs_changes_nothing(name: str) -> None:
    plain = judged(name, "generic-6000", "6.52 6.49 6.51")
    high = judged(name, "generic-6000", "6.65 6.62 6.64")  # the meter 2 % high on all three
    assert plain[0] == high[0] == "good" and "in balance" in plain[1]
    assert "UV 6.52, VW 6.49, WU 6.51, 30 mV ± 60 mV apart" in plain[1]
    assert high[2] == pytest.approx(plain[2], abs=1e-3)


@pytest.mark.parametrize("name", list(TESTS))
@pytest.mark.parametrize("meter", list(METERS))
def test_one_pair_low_is_out_of_balance_on_either_meter(name: str, meter: str) -> None:
    verdict, sentence, _ = judged(name, meter, "6.5 4.7 6.5")
    assert verdict == "bad" and "out of balance" in sentence
    assert "otor explains it" in sentence


@pytest.mark.parametrize("name", list(TESTS))
@pytest.mark.parametrize("step", range(1, 40))
def test_no_spread_is_without_a_verdict_for_want_of_a_forecast(name: str, step: int) -> None:
    """From nothing to 4 V there is no hole in which a reading fits no suspect."""
    text = f"6.50 {6.50 - step / 10:.2f} 6.50"
    verdict, sentence, _ = judged(name, "generic-6000", text)
    assert "fits none" not in sentence, text
    if step not in (2, 3):  # there the limit lies within the doubt
        assert verdict == ("good" if step == 1 else "bad")


def test_three_plain_readings_share_the_gain_of_their_meter() -> None:
    """Read each for itself, too, the three are not independent: an error common to all of them is
    likelier than the product of three single ones (JCGM 100:2008, 5.2.2: correlated inputs)."""
    hypotheses = list_hypotheses([Fault("low", "low", "x", ("p",), 1.0)], [], {"low": 1.0}, 1.0,
                                 0.05, 1.0)  # fmt: skip
    good, bad = Forecast((Piece("around", 6.5, 0.0),)), Forecast((Piece("around", 6.3, 0.0),))
    by = tuple(bad if h.parts else good for h in hypotheses)
    rows = tuple(make_row(f"t{i}", "ac_volts", good, by, minutes=1.0) for i in range(3))

    def log_of(value: float, count: int) -> float:
        reading = Reading("value", "ac_volts", value, value, "V", "", 0.02, 0.06, 0.01, "m", "60 V")
        items = [Item(f"i{i}", f"t{i}", reading) for i in range(count)]
        belief = weigh(make_table(hypotheses, rows), items)
        table = make_table(hypotheses, rows)
        place = [h.kind for h in hypotheses].index("no fault")
        weights = np.array([node.weight for node in table.nodes])
        logs = sum(w.faulty[place] for w in belief.weighed)
        return float(np.log(weights @ np.exp(logs)))

    common = 6.5 + 0.07
    assert log_of(common, 3) > 3 * log_of(common, 1) + 0.5
