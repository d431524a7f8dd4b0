"""The same question has the same answer in every process: Python hashes words anew in each, and the
order of a set goes with it."""

from __future__ import annotations

import os
import subprocess
import sys

ASKED = """
import json
from knowngood.diagnosis.assess import assess, set_up
from knowngood.diagnosis.evidence import Evidence
from knowngood.isolate.belief import Item
from knowngood.isolate.prices import Prices
from knowngood.machines.parse import parse_machine
from knowngood.machines.shipped import load_shipped
from knowngood.measure.meter import load_shipped_meter
from knowngood.measure.typed import read_text
from knowngood.places.plan import plan_tree, tree_json

machine, _ = parse_machine(load_shipped("mower-battery-56v"), "mower-battery-56v")
meter = load_shipped_meter("generic-6000")
setup = set_up(machine, "dead", meter, Prices())
for h in setup.bench.table.hypotheses:
    print(h.id, h.weight, sorted(h.parts), h.marks, h.causes)
volts = read_text("57.9 V", setup.bench.table.rows["pack_rest"].quantity, meter)
evidence = Evidence((Item("r1", "pack_rest", volts),))
view = assess(setup, evidence, deadline=None, max_expansions=10)
print(view.belief.p.tolist(), [(s.id, s.price) for s in view.steps], view.proof)
tree = plan_tree(setup, Evidence(), most=15, deadline=None, max_expansions=10)
print(json.dumps(tree_json(tree)))
"""


def test_what_is_believed_and_planned_does_not_depend_on_how_words_are_hashed() -> None:
    told = {
        subprocess.run(
            [sys.executable, "-c", ASKED], capture_output=True, text=True, check=True,
            env=os.environ | {"PYTHONHASHSEED": seed},
        ).stdout
        for seed in ("0", "1")
    }  # fmt: skip
    assert len(told) == 1
    assert "cable_slack&bail_sw_open" in told.pop()
