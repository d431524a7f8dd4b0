"""Points that the person asked about, as tests of the setup, so that their readings count."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace

from knowngood.diagnosis.assess import Setup
from knowngood.machines.ask import with_tests
from knowngood.machines.table import row_for
from knowngood.machines.wire import with_pairs
from knowngood.machines.wiring import JOIN


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
    waits: dict[str, tuple[str, ...]] = {}
    for test in setup.machine.tests:  # what the others of a state wait for
        if test.id in bench.table.rows:
            first = (*waits.get(test.condition, ()), *bench.table.rows[test.id].after)
            waits[test.condition] = tuple(dict.fromkeys(first))
    rows = {}
    for test in alone:
        row = row_for(test, conditions[test.condition], hypotheses)
        state = test.condition.partition(JOIN)[0]
        after = dict.fromkeys((*row.after, *waits.get(state, ())) if row.energised else row.after)
        rows[test.id] = replace(row, after=tuple(after))
    table = replace(bench.table, rows={**bench.table.rows, **rows})
    return Setup(machine, replace(bench, table=table))
