"""The bench procedure: from what is known to what it proves and what to do next.

    expected table -> belief from every reading -> proof -> each next step with its price

Nothing is remembered between calls: the belief is worked out from the complaint each time, so a
reading taken back is simply not there any more.
"""

from __future__ import annotations

import gc
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

from knowngood.diagnosis.evidence import Evidence
from knowngood.diagnosis.gate import good_stretches, not_live_yet, read_once_more
from knowngood.diagnosis.hazard import Hazard, barred, hazards
from knowngood.diagnosis.sentences import judge_readings
from knowngood.diagnosis.standing import causes_to_clear, part_views
from knowngood.diagnosis.steps import step_views
from knowngood.diagnosis.views import Assessment, Judged, StepView, Suspect
from knowngood.isolate.advice import Access, Bench, Fit, advise
from knowngood.isolate.belief import Belief, accepted, weigh
from knowngood.isolate.prices import Prices
from knowngood.isolate.proof import judge_proof, shown_out
from knowngood.isolate.watch import Watch
from knowngood.machines.machine import Machine
from knowngood.machines.table import build_table, complaint_of, told_account
from knowngood.machines.undone import filled_by, still_told, undone_by
from knowngood.machines.wire import wire
from knowngood.measure.meter import MeterSheet

WORDS, PLANNED = 0.18, 0.5  # shares of the deadline


@dataclass(frozen=True, slots=True)
class Setup:
    """What stays the same during a job; made once by `set_up` and used for every reading."""

    machine: Machine
    bench: Bench


def set_up(
    machine: Machine,
    complaint: str | None,
    meter: MeterSheet | None,
    prices: Prices,
    weights: Mapping[str, float] | None = None,
) -> Setup:
    """The table of this machine under this complaint, on this meter. KeyError: no such one."""
    machine = wire(machine, meter)
    table = build_table(machine, complaint_of(machine, complaint), weights, meter)
    undoes = undone_by(machine)
    still = still_told(machine, undoes)
    table = replace(table, undoes=undoes, still=still, refills=filled_by(machine))
    access = tuple(Access(t.id, t.minutes, t.back_minutes, t.needs) for t in machine.teardown)
    fits = tuple(Fit(p.id, p.price, p.minutes, p.returnable, p.needs) for p in machine.parts)
    good = good_stretches(machine, table, meter)
    made = Setup(machine, Bench(table, meter, prices, access, fits, good=good))
    _set_aside()
    return made


def _set_aside() -> None:
    """What lives on is no longer looked through for waste each time: in the middle of a step that
    took 40 ms of its 150."""
    gc.unfreeze()
    gc.collect()
    gc.freeze()


@dataclass(frozen=True, slots=True)
class Known:
    """What the evidence says before anything is planned. ``held``: tests that may not be taken
    now, with the reason; ``again``: those to be read once more before anything live."""

    belief: Belief
    called: frozenset[str] | None
    unsafe: tuple[Hazard, ...]
    judged: tuple[Judged, ...]
    held: Mapping[str, str]
    again: tuple[str, ...]


def known_from(setup: Setup, evidence: Evidence) -> Known:
    """The belief, each reading judged, and what that holds back."""
    machine, table = setup.machine, setup.bench.table
    accounts = [told_account(table, t) for t in machine.told if t.id in evidence.told]
    accounts += [accepted(table, a.part, f"accepted by {a.by}") for a in evidence.accepted]
    belief = weigh(table, evidence.items, accounts)
    unsafe = hazards(machine, evidence.items, evidence.unsafe)
    judged = judge_readings(machine, setup.bench, belief, evidence.items)
    gated = not_live_yet(machine, table, judged, evidence.items)
    return Known(
        belief, frozenset({evidence.called}) if evidence.called else None, unsafe, judged,
        {**gated, **barred(machine, unsafe)}, read_once_more(machine, table, judged, gated),
    )  # fmt: skip


def assess(
    setup: Setup,
    evidence: Evidence,
    *,
    deadline: float | None = 0.15,
    max_expansions: int | None = None,
    clock: Callable[[], float] | None = None,
) -> Assessment:
    """What the evidence proves, and every next step with its price, cheapest first. ``deadline``:
    seconds by ``clock`` (None: the wall's) for all of it (None: no limit); the plan has what belief
    and words leave, and `PLANNED` of it at least."""
    watch = Watch(deadline, clock)
    machine, bench = setup.machine, setup.bench
    known = known_from(setup, evidence)
    belief = known.belief
    proof = judge_proof(belief, known.called)
    advice = advise(
        bench, belief, opened=evidence.opened, read=evidence.read, skipped=evidence.passed_over,
        called=known.called, decided=evidence.decided or proof.proven,
        deadline=watch.left(WORDS, PLANNED), max_expansions=max_expansions, proof=proof,
        clock=watch.clock, barred=known.held, once_more=known.again,
    )  # fmt: skip
    out = shown_out(belief)
    suspects = tuple(
        Suspect(
            h.id, h.words, tuple(sorted(h.parts)), h.weight, float(p), out.get(h.id, ("", 0))[0]
        )
        for h, p in zip(belief.hypotheses, belief.p, strict=True)
    )
    plan = advice.plan
    return Assessment(
        tuple(sorted(suspects, key=lambda s: -s.belief)),
        part_views(machine, belief, out, proof, known.unsafe), known.judged,
        _once_more_first(step_views(machine, bench, evidence, advice, proof), known.again),
        advice.held, proof, causes_to_clear(machine, belief, proof), plan.lower, plan.upper,
        plan.expected_price, plan.seconds, belief, known.unsafe,
    )  # fmt: skip


def _once_more_first(steps: tuple[StepView, ...], again: Sequence[str]) -> tuple[StepView, ...]:
    """What is to be read again before anything live stands in front."""
    front = tuple(s for s in steps if s.kind == "test" and s.id in again)
    return (*front, *(s for s in steps if s not in front))
