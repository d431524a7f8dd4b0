"""Which machine next: jobs that can go on now, by promise, waiting and minutes to their next end.

Minutes to find the fault are those the plan expects, over its outcomes; minutes to put together are
those of the part and of the steps that are open.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Final

from knowngood.diagnosis.hazard import STOP
from knowngood.diagnosis.steps import opening_order
from knowngood.job.job import Job
from knowngood.machines.machine import Machine
from knowngood.places.days import day_of
from knowngood.places.gather import evidence_of, load_job, setup_of
from knowngood.places.plan import Leaf, PlanTree, plan_tree
from knowngood.places.points import setup_as_read
from knowngood.places.record import Record, Refused
from knowngood.shop.order_of_work import Next, Waiting, order_of_work
from knowngood.shop.several_people import Person, Rota, rota
from knowngood.store.problem import StoreProblem

CAN_GO_ON: Final = frozenset({"look", "prove", "fit", "ready"})
CHECK_MINUTES: Final = 1.0  # a release check, common practice
HAND_OVER: Final = 3.0  # minutes at the counter, common practice
PLACES: Final = 63  # of the tree that is added up
LOOKS: Final = 60  # of the planner, for each job
MOST_JOBS: Final = 40
NAMED: Final = 8


def next_up(record: Record, now: datetime, minutes_a_day: float = 360.0) -> tuple[Next, ...]:
    """Jobs that can go on now, in the order to take them. At most `MOST_JOBS`, by what is due."""
    found = [one for one, _ in can_go_on(record, now)]
    return order_of_work(found, now.date(), minutes_a_day)


def shared_out(
    record: Record, now: datetime, people: Sequence[str], minutes_a_day: float = 360.0
) -> Rota:
    """The same jobs shared out among people, each written "Ana", or "Ida: mower, trimmer" for
    words of the machines' families that this person takes. Raises Refused."""
    waiting = can_go_on(record, now)
    families = {job.id: family for job, family in waiting}
    there = [_person(text, set(families.values()), minutes_a_day) for text in people]
    names = [p.name for p in there]
    if not names or len(set(names)) != len(names):
        raise Refused("name each person once, as Ana, or Ida: mower, trimmer")
    needs = {job: frozenset({family}) for job, family in families.items()}
    return rota([job for job, _ in waiting], there, now.date(), needs)


def _person(text: str, families: set[str], minutes_a_day: float) -> Person:
    name, _, words = text.partition(":")
    takes = [word.strip().casefold() for word in words.split(",") if word.strip()]
    if not name.strip() or len(name) > 80:
        raise Refused(f"{text[:40]!r} names nobody; write it like Ida: mower, trimmer")
    skills = {f for f in families for word in takes if word in f.casefold()}
    if takes and not skills:
        skills = {"none of these machines"}
    return Person(name.strip(), frozenset(skills), minutes_a_day)


def not_weighed(record: Record, weighed: Iterable[str]) -> str:
    """Which jobs could go on and are not among those weighed, in a sentence; "" for none."""
    there = frozenset(weighed)
    names = [row.name for row in record.log.waiting(limit=1000)
             if row.waits in CAN_GO_ON and row.job not in there]  # fmt: skip
    if not names:
        return ""
    more = f" and {len(names) - NAMED} more" if len(names) > NAMED else ""
    named = ", ".join(names[:NAMED])
    return (f"Not weighed: {named}{more}; without a machine file the minutes are not known, and no "
            f"more than {MOST_JOBS} are weighed, by what is due")  # fmt: skip


def can_go_on(record: Record, now: datetime) -> list[tuple[Waiting, str]]:
    """Jobs that can go on now with the family of their machine. At most `MOST_JOBS`."""
    today = now.date()
    found: list[tuple[Waiting, str]] = []
    for row in record.log.waiting(limit=1000):
        if row.waits not in CAN_GO_ON or len(found) == MOST_JOBS:
            continue
        try:
            job = load_job(record, row.job)
            minutes = minutes_left(record, job, row.waits)
            family = setup_of(record, job).machine.family
        except (Refused, StoreProblem):
            continue  # its machine file is not here; the shelf says so
        since = day_of(row.since, now.tzinfo)
        words = f"{row.name} {row.machine}" + (f". {STOP} ({row.unsafe})" if row.unsafe else "")
        waited = max((today - since).days, 0) if since else 0
        found.append((Waiting(row.job, words, minutes, waited, day_of(row.promised)), family))
    return found


def minutes_left(record: Record, job: Job, waits: str) -> float:
    """Expected minutes until this job waits for somebody else, or is done; above 0."""
    setup = setup_of(record, job)
    machine = setup.machine
    if waits in ("look", "prove"):
        evidence = evidence_of(machine, job)
        with_points = setup_as_read(setup, [r.test for r in job.readings])
        tree = plan_tree(with_points, evidence, most=PLACES, deadline=None, max_expansions=LOOKS)
        return max(expected_minutes(tree), 1.0)
    checks = sum(CHECK_MINUTES for c in machine.release if c.id not in _checked(job))
    if waits == "ready":
        return HAND_OVER + checks
    return _to_put_together(machine, job) + checks + HAND_OVER


def expected_minutes(tree: PlanTree) -> float:
    """Minutes at the bench to the end of the shown tree, over its outcomes.

    Test, what has to come off for it, and what has to be shut again for it; parts are not fitted.
    """
    machine, whole = tree.setup.machine, tree.root.mass
    total, waiting = 0.0, [tree.root]
    while waiting:
        leaf = waiting.pop()
        if leaf.node.kind == "test" and leaf.shown:
            total += leaf.mass / whole * _minutes_of(machine, leaf)
        waiting.extend(branch.leaf for branch in leaf.then)
    return total


def _minutes_of(machine: Machine, leaf: Leaf) -> float:
    test = next(t for t in machine.tests if t.id == leaf.node.id)
    condition = machine.state_of(test)
    steps = {step.id: step for step in machine.teardown}
    opens = opening_order(machine, condition.open, leaf.opened)
    shuts = [steps[c].back_minutes for c in condition.closed if c in leaf.opened]
    return test.minutes + sum(steps[o].minutes for o in opens) + sum(shuts)


def _to_put_together(machine: Machine, job: Job) -> float:
    back = {step.id: step.back_minutes for step in machine.teardown}
    part = next((p for p in machine.parts if job.decision and p.id == job.decision.part), None)
    open_now = sum(back.get(step.step, 0.0) for step in job.open_steps)
    return max(open_now + (part.minutes if part else 0.0), 1.0)


def _checked(job: Job) -> set[str]:
    return {check.check for check in job.release}
