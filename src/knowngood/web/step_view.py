"""A step of the plan as the bench shows it, in words."""

from __future__ import annotations

import math
from dataclasses import replace

from knowngood.diagnosis.sentences import in_short
from knowngood.diagnosis.steps import cautions_at
from knowngood.diagnosis.views import StepView
from knowngood.job.things import JobReading
from knowngood.machines.machine import Machine, Test
from knowngood.places.complaints import as_expected, good_answer
from knowngood.places.gather import View
from knowngood.web.apart_view import unseen_of
from knowngood.web.capacitor_view import volts_first
from knowngood.web.keys import keys_of
from knowngood.web.step_face import Json, StepFace


def step_view(view: View, step: StepView) -> Json:
    """Every field of a `StepFace` for a step possible now."""
    found = StepFace(
        kind=step.kind, id=step.id, words=step.words, question=step.question,
        minutes=f"{step.minutes:g} min" if step.minutes else "",
        condition=step.condition, held=step.held, opens=step.opens, minding=step.minding,
        out_first=_source_out(view.machine, step), closes=step.closes,
        red=step.points[0], black=step.points[1], expect=step.expect, cautions=step.cautions,
        energised=step.energised, costs_more=_override(view, step), price=money(view, step.price),
        unseen=unseen_of(view, [t for t in view.machine.teardown if t.words in step.opens]),
    )  # fmt: skip
    if step.kind == "order":
        named = step.words.removeprefix("order ")
        part, lacks, _ = named.partition(" without proof")
        return replace(found, words=f"Decide: {part} is the part{', without proof' * bool(lacks)}"
                       ).as_json()  # fmt: skip
    if step.kind != "test":
        return found.as_json()
    test = next(t for t in view.machine.tests if t.id == step.id)
    learned = view.job.learning.digest and "known-good reading" in test.good_reads
    return replace(
        found, **test_face(view.machine, test, _last_of(view, test)) | {
            "mind": in_short(step.cautions),
            "discharge": volts_first(view, test, step, found.out_first),
            "known": f"/learned/{view.machine.id}#{test.id}" if learned else "",
        },
    ).as_json()  # fmt: skip


def _source_out(machine: Machine, step: StepView) -> list[str]:
    """Of what comes off first that which takes the energy out: pack, plug lead, battery lead."""
    sources = {t.words for t in machine.teardown if t.role == "source out"}
    return [words for words in step.opens if words in sources]


def _override(view: View, step: StepView) -> str:
    """What this step costs more than the cheapest, as sure as the plan is of it."""
    most = step.costs_more
    least = max(0.0, step.lower - (step.price - most))
    if most - least < 0.01 or not money(view, most):
        return money(view, most)
    return f"{least:.2f} to {money(view, most)}" if least >= 0.005 else f"up to {money(view, most)}"


def test_face(machine: Machine, test: Test, last: JobReading | None = None) -> Json:
    """How a test is answered: its keys, the good reading as text, what "same" repeats. Fields of
    a `StepFace`."""
    condition = machine.state_of(test)
    undone = {t.id for t in machine.teardown if t.fasteners or t.role == "shell"}
    return {
        "mind": in_short(cautions_at(condition, test)),
        "live_open": condition.energised and bool(undone & set(condition.open)),
        "question": test.question, "quantity": test.quantity, "keys": keys_of(test),
        "grade": test.grade, "probe": [list(p) for p in test.probe.pairs] if test.probe else [],
        "pairs": _pairs(machine, test),
        "as_expected": as_expected(test), "same": last.text if last else None,
        "good": good_answer(test) if test.quantity == "yes_no" else None,
    }  # fmt: skip


def _pairs(machine: Machine, test: Test) -> list[list[str]]:
    """The points in words, red and black, where there is more than one pair."""
    if test.probe is None or machine.wires is None or len(test.probe.pairs) < 2:
        return []
    points = machine.wires.points
    return [[points[p].words if p in points else p for p in pair] for pair in test.probe.pairs]


def _last_of(view: View, test: Test) -> JobReading | None:
    mine = [r for r in view.job.live_readings if r.test == test.id]
    return mine[-1] if mine and mine[-1].value().is_evidence else None


def money(view: View, amount: float) -> str:
    """An amount in the shop's money; "" when it is nothing or not known."""
    if not math.isfinite(amount) or abs(amount) < 0.005:
        return ""
    return f"{amount:.2f} {view.setup.bench.prices.currency}".strip()
