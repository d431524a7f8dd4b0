"""A machine and a complaint as the table that the planner reads."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from knowngood.isolate.belief import Account
from knowngood.isolate.forecast import Forecast
from knowngood.isolate.hypotheses import Hypothesis, list_hypotheses
from knowngood.isolate.table import LOOKED, Row, Table, make_row, make_table
from knowngood.machines.machine import Complaint, Condition, Machine, Test, Told, in_state
from knowngood.machines.wire import wire, with_pairs
from knowngood.measure.meter import MeterSheet

OFTEN = 0.5  # a complaint made so often by what a look finds is explained by it; our own choice
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
    machine: Machine,
    complaint: Complaint,
    weights: Mapping[str, float] | None = None,
    meter: MeterSheet | None = None,
) -> Table:
    """Hypotheses and rows. ``weights`` (by fault id) replace those of the file, such as the
    shop's own counts; electrical rows are those of this ``meter`` (None: an ordinary one)."""
    machine = wire(machine, meter)
    hypotheses = list_hypotheses(
        [replace(f, weight=(weights or {}).get(f.id, f.weight)) for f in machine.faults],
        [(d.faults[0], d.faults[1], d.weight) for d in machine.doubles],
        {f.id: complaint.given.get(f.id, complaint.others) for f in machine.faults},
        complaint.no_fault,
        machine.other_weight,
        machine.no_fault_weight,
    )
    machine = with_pairs(machine, (h.marks for h in hypotheses))
    conditions = {c.id: c for c in machine.conditions}
    spreads = {n.id: n.spread for n in machine.nuisances}
    first = looked_at_first(machine, complaint)
    rows = tuple(
        row_for(beside(test, complaint), conditions[test.condition], hypotheses,
                spreads.get(test.follows or "", 0.0), complaint.cannot)
        for test in machine.tests
    )
    return make_table(hypotheses, tuple(
        replace(row, after=(*row.after, *(f for f in first if f not in row.after)))
        if runs_itself(conditions[test.condition]) else row
        for row, test in zip(rows, machine.tests, strict=True)
    ))  # fmt: skip


def beside(test: Test, complaint: Complaint) -> Test:
    """The test as it reads on machines with this complaint. Everyday wear that does not make it, or
    seldom, is there beside any other fault at its everyday rate; wear that makes it `OFTEN` is
    what was complained of, and the test counts as written."""
    yes = test.good.yes
    if test.everyday is None or yes is None:
        return test
    bad = yes < 0.5
    finds = {f: e for f, e in test.expect.items() if e.yes is not None and (e.yes >= 0.5) == bad}
    if any(complaint.given.get(f, 0.0) >= OFTEN for f in finds):
        return replace(test, everyday=None)
    good = Forecast(yes=test.everyday if bad else 1.0 - test.everyday)
    return replace(test, good=good, expect=finds)


def looked_at_first(machine: Machine, complaint: Complaint) -> tuple[str, ...]:
    """What shows this complaint on the machine at rest, by yes or no: looked at before anything
    runs on its own source. A bent blade or a loose chain is not run to see it (common practice)."""
    live = {c.id for c in machine.conditions if c.energised}
    return tuple(t.id for t in machine.tests if t.id in complaint.shown_by
                 and t.quantity == "yes_no" and t.condition not in live)  # fmt: skip


def runs_itself(condition: Condition) -> bool:
    """Energised by the machine's own source, which may set it going."""
    return condition.energised and condition.volts is None


def row_for(
    test: Test, condition: Condition, hypotheses: Sequence[Hypothesis], spread: float = 0.0,
    cannot: Sequence[str] = (),
) -> Row:
    """One test as a row of the table. ``spread``: of the nuisance that it follows; ``cannot``: what
    the machine does not do by the complaint."""
    return make_row(
        test.id,
        test.quantity,
        test.good,
        tuple(forecast_for(test, h) for h in hypotheses),
        minutes=test.minutes,
        circumstance=circumstance_of(test, condition),
        spread=spread,
        slip=test.slip,
        open=condition.open,
        closed=in_state(condition, test).closed,
        grade=test.grade,
        alters=test.alters,
        look=test.look,
        energised=condition.energised,
        after=test.after,
        words=test.question.rstrip("?"),
        does=tuple(d for d in dict.fromkeys((*condition.does, *test.does)) if d in cannot),
        sees=test.sees,
        everyday=test.everyday is not None,
    )


def circumstance_of(test: Test, condition: Condition) -> str:
    """When an intermittent fault shows in this test: as its condition says; always in a look at
    what is off and at rest."""
    still = not condition.energised and condition.circumstance == "rest"
    return LOOKED if test.look and still else condition.circumstance


def forecast_for(test: Test, hypothesis: Hypothesis) -> Forecast:
    """What the test shows under a hypothesis. Several faults in the wiring are solved together; of
    those written by hand the one that the test lists first decides. A fault that is not listed
    reads as good."""
    if test.together:
        moving = tuple(sorted(m for m in hypothesis.marks if m in test.expect))
        if moving in test.together:
            return test.together[moving]
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
