"""Points that the person asked about, as tests of the setup, so that their readings count."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace

from knowngood.diagnosis.assess import Setup
from knowngood.machines.ask import with_tests
from knowngood.machines.table import row_for
from knowngood.machines.wire import with_pairs


def with_asked(setup: Setup, ids: Collection[str]) -> Setup:
    """The setup with the tests that these ids name, beside its own. Ids of other tests are passed
    over. Raises AskError."""
    machine = with_tests(setup.machine, ids)
    new = machine.tests[len(setup.machine.tests) :]
    if not new:
        return setup
    bench = setup.bench
    hypotheses = bench.table.hypotheses
    alone = with_pairs(replace(machine, tests=new), (h.marks for h in hypotheses)).tests
    machine = replace(machine, tests=(*setup.machine.tests, *alone))
    conditions = {c.id: c for c in machine.conditions}
    rows = {t.id: row_for(t, conditions[t.condition], hypotheses) for t in alone}
    table = replace(bench.table, rows={**bench.table.rows, **rows})
    return Setup(machine, replace(bench, table=table))
