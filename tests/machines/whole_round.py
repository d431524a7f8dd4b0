"""Judging a whole round of tests as a bench does: what hangs on one touch is read once more."""

from __future__ import annotations

from dataclasses import replace

from knowngood.isolate.belief import Belief, Item, weigh
from knowngood.isolate.proof import Proof, judge_proof
from knowngood.isolate.table import Table


def judged(table: Table, items: list[Item]) -> tuple[Belief, Proof]:
    """Belief and proof after these readings and, where asked for, their repeats."""
    belief = weigh(table, items)
    proof = judge_proof(belief)
    if proof.again:
        again = [replace(i, id=f"{i.id} again") for i in items if i.test in proof.again]
        belief = weigh(table, [*items, *again])
        proof = judge_proof(belief)
    return belief, proof
