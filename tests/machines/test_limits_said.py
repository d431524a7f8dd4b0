"""What a step says to expect is the limit that the verdict uses: one figure for one test.

A lithium-ion cell is full at 4.2 V with a tolerance of 0.05 V (common practice for cells of the
4.2 V chemistry): no limit of a pack or a charger lies above that.
"""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any, Final

import pytest

from knowngood.cli import main
from knowngood.diagnosis.hazard import CELL_TOP, uses
from knowngood.machines.machine import Test
from knowngood.places.library import find_machine, shipped_machines

CELL_FULL: Final = 4.2
UNITS: Final = {"Mohm": 1e6, "kohm": 1e3, "ohm": 1.0, "V": 1.0, "A": 1.0, "uF": 1e-6, "%": 1.0,
                "psi": 6894.757}  # fmt: skip
_N: Final = r"(\d+(?:\.\d+)?)"
_U: Final = "(Mohm|kohm|ohm|V|A|uF|%|psi)"
RANGE: Final = re.compile(rf"{_N}(?: {_U})? to {_N} {_U}")
BELOW: Final = re.compile(rf"(?:below|within) {_N} {_U}")
ABOVE: Final = re.compile(rf"above {_N} {_U}")
CASES: Final = [
    pytest.param(test, id=f"{name}-{test.id}")
    for name in shipped_machines()
    for test in find_machine(name).it.tests
    if test.limits is not None and not test.generated and test.quantity != "yes_no"
]


def said(test: Test) -> tuple[float | None, list[float]]:
    """The limits in the sentence of a step: low, and every figure that may be the high one."""
    found = RANGE.search(test.good_reads)
    if found is not None:
        low, unit, high, end = found.groups()
        return float(low) * UNITS[unit or end], [float(high) * UNITS[end]]
    if found := ABOVE.search(test.good_reads):  # good is open
        return float(found[1]) * UNITS[found[2]], []
    return None, [float(n) * UNITS[u] for n, u in BELOW.findall(test.good_reads)]


@pytest.mark.parametrize("test", CASES)
def test_the_step_says_the_limit_of_the_verdict(test: Test) -> None:
    assert test.limits is not None
    low, highs = said(test)
    wanted = test.limits.low if test.limits.low and test.limits.low > 0 else None
    assert low == (None if wanted is None else pytest.approx(wanted, rel=1e-3)), test.good_reads
    if test.limits.high is None:
        assert not highs, test.good_reads
    else:
        assert any(h == pytest.approx(test.limits.high, rel=1e-3) for h in highs), test.good_reads


@pytest.mark.parametrize("name", shipped_machines())
def test_no_limit_lets_a_cell_above_full(name: str) -> None:
    machine = find_machine(name).it
    for part in machine.parts:
        for test in machine.tests if part.cells else ():
            high = test.limits.high if test.limits else None
            if test.quantity == "volts" and high and part.id in uses(machine, test) and high > 20:
                assert CELL_FULL <= high / (part.cells or 1) < CELL_TOP, test.id


@pytest.mark.parametrize(
    ("volts", "cleared"), [("59.0 V", False), ("61.2 V", False), ("57.0 V", True)]
)
def test_a_charger_that_overcharges_is_not_cleared_by_a_full_pack(
    volts: str, cleared: bool, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """59.0 V is 4.21 V a cell of 14, which an overcharging charger gives as well as a good one."""
    file = tmp_path / "readings.json"
    readings = [{"test": "charger_end", "text": volts, "meter": "generic-6000"}]
    file.write_text(json.dumps(readings), encoding="utf-8")
    code = main(["assess", "--machine", "pack-charger-56v", "--complaint", "no_charge",
                 "--readings", str(file), "--json"])  # fmt: skip
    answer: dict[str, Any] = json.loads(capsys.readouterr().out)
    assert code == 0
    (charger,) = [s for s in answer["suspects"] if s["id"] == "charger_high"]
    assert (charger["belief"] < 0.01 * charger["prior"]) is cleared
