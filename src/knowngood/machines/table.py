"""A machine and a complaint as the table that the planner reads."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from knowngood.isolate.belief import Account
from knowngood.isolate.forecast import Forecast
from knowngood.isolate.hypotheses import Hypothesis, list_hypotheses
from knowngood.isolate.table import Row, Table, make_row, make_table
from knowngood.machines.machine import Complaint, Machine, Test, Told

UNSURE = Complaint("", "no complaint chosen", {}, others=1.0, no_fault=1.0)


def complaint_of(machine: Machine, id: str | None) -> Complaint:
    """The complaint with this id; without one, every fault makes it alike. KeyError: unknown."""
    if id is None or id == "":
        return UNSURE
    for complaint in machine.complaints:
        if complaint.id == id:
            return complaint
    raise KeyError(id)


def build_table(
    machine: Machine, complaint: Complaint, weights: Mapping[str, float] | None = None
) -> Table:
    """Hypotheses and rows. ``weights`` (by fault id) replace those of the file, such as the
    shop's own counts."""
    hypotheses = list_hypotheses(
        [replace(f, weight=(weights or {}).get(f.id, f.weight)) for f in machine.faults],
        [(d.faults[0], d.faults[1], d.weight) for d in machine.doubles],
        {f.id: complaint.given.get(f.id, complaint.others) for f in machine.faults},
        complaint.no_fault,
        machine.other_weight,
        machine.no_fault_weight,
    )
    conditions = {c.id: c for c in machine.conditions}
    spreads = {n.id: n.spread for n in machine.nuisances}
    rows: list[Row] = []
    for test in machine.tests:
        condition = conditions[test.condition]
        rows.append(
            make_row(
                test.id,
                test.quantity,
                test.good,
                tuple(forecast_for(test, h) for h in hypotheses),
                minutes=test.minutes,
                circumstance=condition.circumstance,
                spread=spreads.get(test.follows or "", 0.0),
                slip=test.slip,
                open=condition.open,
                closed=condition.closed,
                grade=test.grade,
                alters=test.alters,
                look=test.look,
                energised=condition.energised,
                after=test.after,
            )
        )
    return make_table(hypotheses, tuple(rows))


def forecast_for(test: Test, hypothesis: Hypothesis) -> Forecast:
    """What the test shows under a hypothesis: of the faults present the one that the test lists
    first decides; a fault it does not list reads as good."""
    for fault, forecast in test.expect.items():
        if fault in hypothesis.marks:
            return forecast
    return test.good


def told_account(table: Table, told: Told) -> Account:
    """What the customer tried, as noisy evidence; of several faults the likeliest account."""
    given = np.array(
        [
            max((told.given.get(m, told.others) for m in h.marks), default=told.others)
            for h in table.hypotheses
        ]
    )
    return Account(told.id, told.words, given, "told")
