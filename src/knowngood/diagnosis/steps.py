"""Next steps in the shop's words: what to do, what comes off, what to expect, what to mind."""

from __future__ import annotations

from collections.abc import Iterable

from knowngood.diagnosis.evidence import Evidence
from knowngood.diagnosis.views import StepView
from knowngood.isolate.advice import Advice, Bench
from knowngood.isolate.planner import Step
from knowngood.isolate.proof import Proof
from knowngood.machines.machine import Machine, TeardownStep, Test

ONCE_MORE = "Once more, with the probes set anew"


def opening_order(machine: Machine, wanted: Iterable[str], opened: frozenset[str]) -> list[str]:
    """Teardown steps to open, each after what it needs, leaving out what is open."""
    steps = {t.id: t for t in machine.teardown}
    order: list[str] = []

    def visit(id: str) -> None:
        if id in opened or id in order or id not in steps:
            return
        for need in steps[id].needs:
            visit(need)
        order.append(id)

    for id in wanted:
        visit(id)
    return order


def step_views(
    machine: Machine, bench: Bench, evidence: Evidence, advice: Advice, proof: Proof
) -> tuple[StepView, ...]:
    """Every step possible now, cheapest first; ordering the part is one of them."""
    tests = {t.id: t for t in machine.tests}
    cheapest = min((s.price for s in advice.plan.next), default=0.0)
    found = []
    for step in advice.plan.next:
        if step.kind == "test":
            view = _test_view(machine, bench, evidence, tests[step.id], step, cheapest)
        elif step.kind == "stop" and step.id:
            view = _stop_view(machine, step, cheapest, proof)
        elif step.kind == "stop":
            view = _plain(step, cheapest, "stop", "no listed part: report what was found")
        else:
            continue
        found.append(view)
    return tuple(found)


def _test_view(
    machine: Machine, bench: Bench, evidence: Evidence, test: Test, step: Step, cheapest: float
) -> StepView:
    condition = next(c for c in machine.conditions if c.id == test.condition)
    steps = {t.id: t for t in machine.teardown}
    opens = opening_order(machine, condition.open, evidence.opened)
    closes = [c for c in condition.closed if c in evidence.opened]
    minutes = test.minutes + sum(steps[o].minutes for o in opens)
    minutes += sum(steps[c].back_minutes for c in closes)
    words = f"{ONCE_MORE}: {test.words}" if test.id in evidence.read else test.words
    return StepView(
        "test", test.id, words, test.question, step.price, step.lower, step.upper,
        step.price - cheapest, minutes, condition.words, condition.held,
        tuple(steps[o].words for o in opens), tuple(steps[c].words for c in closes),
        (test.red, test.black), test.good_reads,
        cautions_at(machine, condition.caution, test, [steps[o] for o in opens]),
        condition.energised,
    )  # fmt: skip


def cautions_at(
    machine: Machine, condition: str, test: Test, opens: Iterable[TeardownStep]
) -> tuple[str, ...]:
    """The cautions that bind at this step, the nearest first, each once."""
    found = [test.caution, condition, *(s.caution for s in opens)]
    return tuple(dict.fromkeys(c for c in found if c))


def _stop_view(machine: Machine, step: Step, cheapest: float, proof: Proof) -> StepView:
    words = {p.id: p.words for p in machine.parts}
    parts = step.id.split("+")
    named = " and ".join(words.get(p, p) for p in parts)
    proven = proof.proven and frozenset(parts) == proof.parts
    text = f"order {named}" if proven else f"order {named} without proof"
    return _plain(step, cheapest, "order", text)


def _plain(step: Step, cheapest: float, kind: str, words: str) -> StepView:
    return StepView(
        "order" if kind == "order" else "stop", step.id, words, words, step.price, step.lower,
        step.upper, step.price - cheapest, 0.0, "", (), (), (), ("", ""), "", (), False,
    )  # fmt: skip
