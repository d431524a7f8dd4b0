"""What a phone without the shop's computer minds before it takes a test out of the plan's order.

The same gates as with the shop: nothing live after a proof at rest that was not judged good
(`diagnosis.gate`), nothing with a part that must be left alone (`diagnosis.hazard`), nothing behind
a capacitor that is not shown discharged (`diagnosis.steps`). The phone judges no reading: what it
has entered and the shop has not seen counts as not good.
"""

from __future__ import annotations

from typing import Any

from knowngood.diagnosis.gate import barriers
from knowngood.diagnosis.hazard import uses
from knowngood.diagnosis.steps import way_there
from knowngood.isolate.table import Table
from knowngood.machines.machine import Machine
from knowngood.machines.safety import charged_again

Json = dict[str, Any]


def alone_view(machine: Machine, table: Table, opened: frozenset[str]) -> dict[str, Json]:
    """By test: ``before`` the tests that hold it unless they are good, ``uses`` the parts that it
    needs, ``state`` the state of the machine, ``charged`` the capacitor on the way to it once that
    may be charged ("" without one), ``charges`` those that may be charged after it. ``opened``:
    the steps that are off now."""
    holds = {id: barrier.held(open_end=False) for id, barrier in barriers(machine, table).items()}
    waits = frozenset(s.id for s in machine.teardown if s.role == "discharge")
    found = {}
    for test in machine.tests:
        state = machine.state_of(test)
        off = way_there(machine, state, opened - waits).off if waits else ()
        found[test.id] = {
            "before": [id for id, held in holds.items() if test.id in held],
            "uses": [part for part in uses(machine, test) if part != test.hazard],
            "state": state.id, "charged": next((s.id for s in off if s.id in waits), ""),
            "charges": sorted(waits & {*state.closed, *charged_again(machine, state)}),
        }  # fmt: skip
    return found
