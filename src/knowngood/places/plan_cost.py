"""What is left of a job, from its plan: every end the plan can come to, with minutes and parts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from knowngood.diagnosis.assess import Setup
from knowngood.diagnosis.steps import opening_order
from knowngood.isolate.policy import Node, Standing, after_test
from knowngood.isolate.prices import Prices
from knowngood.isolate.task import Task
from knowngood.job.job import Job
from knowngood.machines.machine import Machine
from knowngood.places.gather import evidence_of, setup_of
from knowngood.places.part_meant import parts_decided
from knowngood.places.part_price import labour_only
from knowngood.places.parts import lines_of
from knowngood.places.plan import plan_tree
from knowngood.places.points import setup_as_read
from knowngood.places.record import Record, Refused
from knowngood.places.shop_rate import rate_of
from knowngood.shop.likely_cost import End, LikelyCost, likely_cost

CHECK_MINUTES: Final = 1.0  # a release check, common practice
HAND_OVER: Final = 3.0  # minutes at the counter, common practice
LOOKS: Final = 60  # of the planner
FOLLOWED: Final = 1e-5  # of the chances; a rarer way is taken as the dearest of those followed
MOST_ENDS: Final = 20_000


@dataclass(frozen=True, slots=True)
class ToFit:
    """A part decided on, the causal one first. `price`: by the shop's list or by a person where
    `given`, else the machine file's example, which is no money of the shop's."""

    part: str
    words: str
    number: str
    price: Decimal
    given: bool


@dataclass(frozen=True, slots=True)
class PlanCost:
    """`so_far`: minutes worked already, which are in no end. `to_fit`: the parts decided on, none
    before that. `rate_given`: by the shop or a person."""

    ends: tuple[End, ...]
    so_far: float
    rate: Decimal
    currency: str
    likely: LikelyCost
    rate_given: bool
    to_fit: tuple[ToFit, ...] = ()

    @property
    def unpriced(self) -> tuple[ToFit, ...]:
        """Parts decided on whose price the shop did not say."""
        return tuple(one for one in self.to_fit if not one.given)

    @property
    def not_given(self) -> tuple[str, ...]:
        """What of the money the shop did not say, in words."""
        rate = () if self.rate_given else (
            f"the shop's rate is not set, {self.rate:.2f} an hour is only the usual one",
        )
        which = f"is the machine file's, no list's in {self.currency}"
        prices = (f"the price of the {one.words.lower()} {which}" for one in self.unpriced)
        return (*rate, *prices)

    @property
    def sentence(self) -> str:
        """ "about 38 min and 92.40 USD; in 9 of 10 such jobs at most 71 min and 161.00 USD"."""
        it = self.likely
        done = f" ({self.so_far:.0f} min of it done)" if self.so_far else ""
        return (
            f"about {it.minutes:.0f} min{done} and {it.total} {self.currency}; in "
            f"{10 * it.share:.0f} of 10 such jobs at most {it.bad_minutes:.0f} min and "
            f"{it.bad_total} {self.currency}, before tax, by the plan's own chances"
            + "".join(f"; {words}" for words in self.not_given)
        )


def plan_cost(
    record: Record, job: Job, rate: Decimal | None = None,
    said: Mapping[str, Decimal] | None = None,
) -> PlanCost:  # fmt: skip
    """What the job is likely to cost from check-in to hand-over. Raises Refused without a machine
    file, and for a ``rate`` or price below 0. Both are what a person says in the currency of
    `money_of_plan`; ``said``: prices by the id of a part decided on. Of these parts every other is
    at the price list's price in it, where there is one, and all the rest at the machine file's."""
    said = said or {}
    for words, typed in (("rate", rate), *(("price", price) for price in said.values())):
        if typed is not None and typed < 0:
            raise Refused(f"a {words} of {typed}; give 0 or more")
    setup = setup_of(record, job)
    machine = setup.machine
    prices = {p.id: Decimal(str(p.price)) for p in machine.parts}
    so_far = sum(job.minutes_by_step().values())
    own, currency = rate_of(record, job), money_of_plan(record, job)
    rate_given = rate is not None or own.given
    rate = own.amount if rate is None else rate
    after = sum(CHECK_MINUTES for c in machine.release if c.id not in _checked(job)) + HAND_OVER
    to_fit = tuple(
        _to_fit(record, job, named, said.get(named[0]), prices, currency)
        for named in parts_decided(job)
    )
    if to_fit:
        prices |= {one.part: one.price for one in to_fit}
        opened = frozenset(s.step for s in job.open_steps)
        fitted = [one.part for one in to_fit]
        ends: Sequence[End] = [_fitting(machine, opened, fitted, 1.0, so_far, prices)]
    else:
        with_points = setup_as_read(setup, [r.test for r in job.readings])
        tree = plan_tree(
            with_points, evidence_of(machine, job), most=1, deadline=None, max_expansions=LOOKS
        )
        task, policy = tree.advice.task, tree.advice.plan.policy
        ends = _walked(with_points, task, policy, tree.root.opened, so_far, prices)
    ends = [End(e.chance, e.minutes + after, e.parts) for e in ends]
    likely = likely_cost(ends, rate)
    return PlanCost(tuple(ends), so_far, rate, currency, likely, rate_given, to_fit)


def _to_fit(
    record: Record, job: Job, named: tuple[str, str, str], said: Decimal | None,
    examples: Mapping[str, Decimal], currency: str,
) -> ToFit:  # fmt: skip
    part, words, number = named
    own = _listed(record, job, part, number, currency) if said is None else said
    price = examples.get(part, Decimal(0)) if own is None else own
    return ToFit(part, words, number, price, own is not None)


def _checked(job: Job) -> set[str]:
    return {check.check for check in job.release}


def money_of_plan(record: Record, job: Job) -> str:
    """The currency of an estimate from the plan: that of the job's rate."""
    return rate_of(record, job).currency or Prices().currency


def _listed(
    record: Record, job: Job, part: str, number: str, currency: str
) -> Decimal | None:
    """0 for work without a part, else what a list in this currency says of the number."""
    if labour_only(record, job, part):
        return Decimal(0)
    found = lines_of(record, number, job.opened.maker if job.opened else "")
    return next((one.price for one in found if one.price and one.currency == currency), None)


def _walked(
    setup: Setup, task: Task, policy: Node, opened: frozenset[str], so_far: float,
    prices: dict[str, Decimal],
) -> list[End]:  # fmt: skip
    """Every way through the whole policy to its end, with its chance."""
    machine = setup.machine
    start = Standing.start(task)
    whole, left = float(start.mass.sum()), 0.0
    ends: list[End] = []
    waiting = [(policy, start, opened, so_far)]
    while waiting:
        node, standing, is_open, minutes = waiting.pop()
        chance = float(standing.mass.sum()) / whole
        if chance < FOLLOWED or len(ends) >= MOST_ENDS:
            left += chance
            continue
        if node.kind != "test":
            ends.append(_fitting(machine, is_open, node.parts, chance, minutes, prices))
            continue
        spent, then_open = _test(machine, node.id, is_open)
        names = next(t for t in task.tests if t.id == node.id).outcomes
        _, after = after_test(task, standing, node.id)
        then = dict(node.then)
        for name, nxt in zip(names, after, strict=True):
            if name in then and nxt.mass.sum() > 0:
                waiting.append((then[name], nxt, then_open, minutes + spent))
    if left > 0 and ends:
        dearest = max(ends, key=lambda e: (e.parts, e.minutes))
        longest = max(e.minutes for e in ends)
        ends.append(End(left, longest, dearest.parts))
    return ends


def _test(machine: Machine, test_id: str, opened: frozenset[str]) -> tuple[float, frozenset[str]]:
    """Minutes of a test with what has to come off and be shut for it; what is open after it."""
    test = next(t for t in machine.tests if t.id == test_id)
    condition = machine.state_of(test)
    steps = {step.id: step for step in machine.teardown}
    opens = opening_order(machine, condition.open, opened)
    shuts = [c for c in condition.closed if c in opened]
    minutes = test.minutes + sum(steps[o].minutes for o in opens)
    minutes += sum(steps[c].back_minutes for c in shuts)
    return minutes, (opened | frozenset(opens)) - frozenset(condition.closed)


def _fitting(
    machine: Machine, opened: frozenset[str], parts: Sequence[str], chance: float, minutes: float,
    prices: dict[str, Decimal],
) -> End:  # fmt: skip
    """The parts fitted and everything that is open put back."""
    by_id = {p.id: p for p in machine.parts}
    steps = {step.id: step for step in machine.teardown}
    needs = {n for p in parts if p in by_id for n in by_id[p].needs}
    more = opening_order(machine, sorted(needs), opened)
    minutes += sum(steps[o].minutes for o in more)
    minutes += sum(steps[o].back_minutes for o in {*opened, *more} if o in steps)
    minutes += sum(by_id[p].minutes for p in parts if p in by_id)
    return End(chance, minutes, sum((prices.get(p, Decimal(0)) for p in parts), Decimal(0)))
