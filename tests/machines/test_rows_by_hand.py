"""The mower's electrical rows from its wiring beside those once written by hand.

``python -m tests.machines.test_rows_by_hand`` lists what differs. Two rows differ where an ordinary
meter would tell them apart more often than not (total-variation distance above one half).
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

from ruamel.yaml import YAML

from knowngood.isolate.forecast import Forecast
from knowngood.machines.apart import _cells
from knowngood.machines.forecast_text import forecast_words, parse_forecast
from knowngood.machines.machine import Machine
from knowngood.places.library import find_machine, wired

BY_HAND = Path(__file__).with_name("mower_by_hand.yaml")
APART = 0.5


def by_hand() -> dict[str, Any]:
    found = YAML(typ="safe").load(BY_HAND.read_text(encoding="utf-8"))
    assert isinstance(found, dict)
    return found


def compared(machine: Machine) -> Iterator[tuple[str, str, float, Forecast, Forecast]]:
    """(test, fault or "", distance, by hand, from the wiring) for each row that either has."""
    for id, row in by_hand().items():
        test = next((t for t in machine.tests if t.id == id), None)
        if test is None or test.probe is None:
            continue
        hand = {"": parse_forecast(row["good"], row["quantity"])}
        for faults, text in row["expect"].items():
            for fault in (f.strip() for f in faults.split(",")):
                hand[fault] = parse_forecast(text, row["quantity"])
        for fault in ["", *(f.id for f in machine.faults)]:
            if fault not in hand and fault not in test.expect and fault:
                continue
            old = hand.get(fault, hand[""])
            new = test.expect.get(fault, test.good) if fault else test.good
            p, _ = _cells([old, new], test.quantity)
            yield id, fault, float(0.5 * abs(p[0] - p[1]).sum()), old, new


def narrower(old: Forecast, new: Forecast) -> bool:
    """Whether the wiring says the same as the hand, only closer: each way lies within one of its
    ways, give or take a third."""
    for p in new.pieces:
        ends = (p.low, p.low if p.kind == "around" else p.high)
        if p.kind in ("over", "unsteady"):
            inside = any(o.kind == p.kind for o in old.pieces)
        else:
            inside = any(
                o.kind in ("between", "log") and o.low * 0.7 <= ends[0] and ends[1] <= o.high * 1.35
                for o in old.pieces
            )
        if not inside:
            return False
    return True


EXPLAINED = {
    ("pack_charged", "pack_dead"),
    ("input_volts", "block_burnt"), ("input_volts", "block_open"), ("input_tapped", "block_open"),
    ("block_drop", "ctrl_short"),
    ("enable_volts", "block_open"),
    ("enable_volts", "key_loose"), ("enable_volts", "bail_sw_worn"),
}  # fmt: skip


def test_rows_that_differ_are_explained() -> None:
    """docs/decisions/mower-rows-from-wiring.md says why each of them does."""
    machine = wired(find_machine("mower-battery-56v").it, None)
    rows = list(compared(machine))
    assert len(rows) > 100
    differ = {(t, f) for t, f, d, old, new in rows if d > APART and not narrower(old, new)}
    assert differ == EXPLAINED


if __name__ == "__main__":
    mower = wired(find_machine("mower-battery-56v").it, None)
    quantity = {t.id: t.quantity for t in mower.tests}
    every = list(compared(mower))
    for id, fault, apart, old, new in every:
        if apart > APART:
            kind = "narrower" if narrower(old, new) else "other"
            hand, wires = (forecast_words(f, quantity[id]) for f in (old, new))
            print(f"{kind}: {id}, {fault or 'good'} ({apart:.2f}): by hand {hand}; wiring {wires}")
    print(f"{sum(a <= APART for _, _, a, _, _ in every)} of {len(every)} rows agree")
