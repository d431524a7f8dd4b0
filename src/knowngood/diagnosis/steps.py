"""Next steps in the shop's words: what to do, what comes off, what to expect, what to mind."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final

from knowngood.diagnosis.evidence import Evidence
from knowngood.diagnosis.hazard import uses
from knowngood.diagnosis.views import StepView
from knowngood.isolate.advice import Advice, Bench
from knowngood.isolate.planner import Step
from knowngood.isolate.proof import Proof
from knowngood.machines.machine import Condition, Machine, TeardownStep, Test
from knowngood.machines.safety import charged_again, with_needs

ONCE_MORE = "Once more, with the probes set anew"


def opening_order(machine: Machine, wanted: Iterable[str], opened: frozenset[str]) -> list[str]:
    """Teardown steps to open, each after what it needs, leaving out what is open: the source of
    energy before a shell, a capacitor measured before a hand is further inside."""
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
    out = with_needs(steps, tuple(o for o in order if steps[o].role == "source out"))
    order.sort(key=lambda o: o not in out)  # stable
    return _measured_first(steps, order)


def taking_off(machine: Machine, wanted: Iterable[str], opened: frozenset[str]) -> list[str]:
    """``opening_order`` where something comes off: every capacitor is measured before a hand is on
    anything inside the shell, whether or not the file has the step wait for it."""
    steps = {t.id: t for t in machine.teardown}
    asked = list(wanted)
    order = opening_order(machine, asked, opened)
    hands = {o for o in order if steps[o].role != "discharge"}
    waits = (s.id for s in steps.values() if s.role == "discharge" and s.id not in opened)
    unsure = [w for w in waits if _inside(steps, hands - with_needs(steps, (w,)))]
    return opening_order(machine, [*asked, *unsure], opened)


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
    condition = machine.state_of(test)
    way = way_there(machine, condition, evidence.opened, _here(machine, evidence))
    minutes = test.minutes + way.minutes
    words = f"{ONCE_MORE}: {test.words}" if test.id in evidence.read else test.words
    return StepView(
        "test", test.id, words, test.question, step.price, step.lower, step.upper,
        step.price - cheapest, minutes, condition.words, condition.held,
        tuple(s.words for s in way.off), tuple(s.goes_back for s in way.back),
        (test.red, test.black), test.good_reads,
        (*_which_pack(machine, evidence, test), *cautions_at(condition, test)),
        condition.energised, minding=tuple(s.caution for s in way.off),
    )  # fmt: skip


def _here(machine: Machine, evidence: Evidence) -> str:
    """The id of the state that was read in last, "" before anything was."""
    states = {t.id: t.condition for t in machine.tests}
    return next((states[i.test] for i in reversed(evidence.items) if i.test in states), "")


def _which_pack(machine: Machine, evidence: Evidence, test: Test) -> tuple[str, ...]:
    """Which of several packs, at a step that uses or looks at one."""
    alone = {t.hazard for t in machine.tests if t.hazard} if evidence.which else set()
    wanted = test.hazard in alone or not alone.isdisjoint(uses(machine, test)) if alone else False
    return (evidence.which,) if wanted else ()


@dataclass(frozen=True, slots=True)
class Way:
    """How one comes to a state: what comes off, in order, then what goes back; minutes of both.

    For a live state that is opened for first the source of energy is taken out and put back, and
    before a hand is inside the shell the capacitor is measured with the source out. Neither takes
    minutes of its own here.
    """

    off: tuple[TeardownStep, ...]
    back: tuple[TeardownStep, ...]
    minutes: float


def way_there(
    machine: Machine, condition: Condition, opened: frozenset[str], here: str = ""
) -> Way:
    """From what is open now to the condition; ``here``: id of the one that was read in last."""
    steps = {t.id: t for t in machine.teardown}
    off = [steps[o] for o in opening_order(machine, condition.open, opened)]
    if here == condition.id and {s.id for s in off} <= charged_again(machine, condition):
        off = []  # still at the supply that charged it
    back = [steps[c] for c in condition.closed if c in opened and c in steps]
    minutes = sum(s.minutes for s in off) + sum(s.back_minutes for s in back)
    out = [s for s in machine.teardown if s.role == "source out" and s.id in condition.closed]
    unsure = _to_measure(steps, [*off, *back], opened)
    if condition.energised and (unsure or any(_wants_the_source_out(s) for s in off)):
        off = [*(s for s in out if s.id not in opened), *off]
        back = [*back, *(s for s in out if s not in back)]
    order = _measured_first(steps, [*(s.id for s in off), *unsure])
    shown = [s for s in back if s.role != "discharge"]
    last = [s for s in shown if s.role == "source out"]
    return Way(
        tuple(steps[o] for o in order),
        (*(s for s in reversed(shown) if s not in last), *last), minutes,
    )  # fmt: skip


def _to_measure(
    steps: Mapping[str, TeardownStep], touched: Iterable[TeardownStep], opened: frozenset[str]
) -> list[str]:
    """Capacitors to be shown discharged before these steps, where that is not done: a charged one
    bites at the phase leads too (common practice)."""
    waits = [s.id for s in steps.values() if s.role == "discharge" and s.id not in opened]
    ids = {s.id for s in touched}
    return [w for w in waits if w not in ids] if _inside(steps, ids - set(waits)) else []


def _inside(steps: Mapping[str, TeardownStep], ids: Iterable[str]) -> bool:
    """Whether one of these is a shell, or lies behind one."""
    shells = {s.id for s in steps.values() if s.role == "shell"}
    return any(shells & with_needs(steps, (id,)) for id in ids)


def _measured_first(steps: Mapping[str, TeardownStep], order: list[str]) -> list[str]:
    """The order with each capacitor measured before a hand is on anything inside the shell."""
    shells = {s.id for s in steps.values() if s.role == "shell"}
    for wait in [o for o in order if steps[o].role == "discharge"]:
        needs = with_needs(steps, (wait,))
        hands = [o for o in order if o not in needs and shells & with_needs(steps, (o,))]
        first = order.index(hands[0]) if hands else len(order)
        early = [o for o in order[first:] if o in needs]
        order = [*order[:first], *early, *(o for o in order[first:] if o not in needs)]
    return order


_OUT: Final = re.compile(r"\b(pack|plug lead|battery (negative|minus))\b[^.;]*\b(out|off)\b", re.I)


def _wants_the_source_out(step: TeardownStep) -> bool:
    return step.role == "shell" or bool(_OUT.search(step.caution))


def cautions_at(condition: Condition, test: Test) -> tuple[str, ...]:
    """The cautions that bind while the test is taken, the nearest first, each once. What binds
    while something comes off stands with that step: the state may be another one then."""
    return tuple(dict.fromkeys(c for c in (test.caution, condition.caution) if c))


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
