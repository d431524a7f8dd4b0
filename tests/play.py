"""Jobs played from complaint to stop: by the planner, in the family's fixed order, by an oracle.

All three obey the same stop rule: proven, or nothing left that is worth its price (planner) or on
the list (fixed order). The oracle knows the fault and pays only for its proof.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace

from knowngood.diagnosis.assess import Setup, assess, known_from
from knowngood.diagnosis.evidence import Evidence
from knowngood.diagnosis.steps import opening_order
from knowngood.diagnosis.views import Assessment
from knowngood.isolate.advice import held_back, seen_to_do
from knowngood.isolate.belief import Item, weigh
from knowngood.isolate.proof import Proof, judge_proof
from tests.simulate import World

MOST_STEPS = 80  # of a machine with 60 tests, some of them read again
MOST_TIMES = 3  # one test is read at one place of a fixed order
Place = tuple[object, ...]
Ways = dict[Place, str]


@dataclass(frozen=True)
class Played:
    """How one job ended. ``price``: tests and what they opened, in money, and what its stop costs
    (`finish`); ``named``: the parts at the stop."""

    named: frozenset[str]
    truth: frozenset[str]
    proven: bool
    price: float
    tests: tuple[str, ...]

    @property
    def right(self) -> bool:
        """Every part named is truly bad; with two faults present one may be left to find."""
        return bool(self.named) and self.named <= self.truth

    @property
    def whole(self) -> bool:
        """The parts named are the whole cure."""
        return bool(self.truth) and self.named == self.truth


def reach(setup: Setup, test: str, opened: frozenset[str]) -> tuple[float, frozenset[str]]:
    """Price of a test from this state of teardown, and the state after it."""
    machine = setup.machine
    row = setup.bench.table.rows[test]
    steps = {t.id: t for t in machine.teardown}
    opens = opening_order(machine, row.open, opened)
    minutes = row.minutes + sum(steps[o].minutes + steps[o].back_minutes for o in opens)
    return setup.bench.prices.of_minutes(minutes), (opened | set(opens)) - set(row.closed)


def finish(setup: Setup, truth: frozenset[str], named: frozenset[str], proven: bool) -> float:
    """What the stop costs: a comeback and the claim for other parts than the whole cure, the risk
    of a claim without proof."""
    prices = setup.bench.prices
    return (0.0 if named == truth else prices.wrong) + (0.0 if proven else prices.unproven)


def play_planned(
    setup: Setup,
    world: World,
    *,
    skip: Callable[[str], bool] = lambda test: False,
    expansions: int | None = 300,
    deadline: float | None = None,
    first: dict[frozenset[str], Assessment] | None = None,
    ways: Ways | None = None,
    tires: bool = False,
    goes_on: bool = False,
) -> Played:
    """Always the cheapest next step; ``skip`` decides which steps the person passes over.
    ``first``: what was advised before any reading, by the steps passed over; the same for every job
    of one setup, so it is kept there for the next. ``ways``: so are tests planned later, for the
    next job whose readings fall into the same bands. ``tires``: after MOST_STEPS the person gives
    up, with no part named; without, that is an error. ``goes_on``: the person takes no stop without
    proof, but the cheapest test that is left, until none is."""
    evidence = Evidence()
    price = 0.0
    tests: list[str] = []
    truth = world.table.hypotheses[world.truth].parts
    for _ in range(MOST_STEPS):
        at = _place(setup, evidence) if ways is not None and evidence.items else None
        test = ways.get(at) if ways is not None and at is not None else None
        if test is None:
            begins = None if evidence.items or evidence.opened else first
            known = None if begins is None else begins.get(evidence.skipped)
            view = known or assess(setup, evidence, deadline=deadline, max_expansions=expansions)
            if begins is not None:
                begins[evidence.skipped] = view
            step = view.next
            if goes_on and not view.proof.proven and (step is None or step.kind != "test"):
                left = (s for s in view.steps if s.kind == "test" and not skip(s.id))
                step = next(left, step)
            elif ways is not None and at is not None and step is not None and step.kind == "test":
                ways[at] = step.id
            if view.proof.proven or step is None or step.kind != "test":
                named = view.proof.parts
                if not view.proof.proven and step is not None:
                    named = frozenset(step.id.split("+")) if step.id else frozenset()
                price += finish(setup, truth, named, view.proof.proven)
                return Played(named, truth, view.proof.proven, price, tuple(tests))
            test = step.id
        if skip(test):
            evidence = replace(evidence, skipped=evidence.skipped | {test})
            continue
        more, opened = reach(setup, test, evidence.opened)
        price += more
        tests.append(test)
        times = sum(i.test == test for i in evidence.items)
        item = world.read(test, again=times, after=tests)
        evidence = replace(evidence, items=(*evidence.items, item), opened=opened)
    if not tires:
        raise AssertionError(f"no stop within {MOST_STEPS} steps: {tests}")
    price += finish(setup, truth, frozenset(), False)
    return Played(frozenset(), truth, False, price, tuple(tests))


def _place(setup: Setup, evidence: Evidence) -> Place | None:
    """What the plan rests on, each reading as the band that it falls into; None once a part is
    proven: that ends a job, whatever was planned for one that reads nearly the same."""
    known = known_from(setup, evidence)
    if judge_proof(known.belief).proven:
        return None
    bands = sorted((i.test, setup.bench.bands(i.test).place(i.reading)) for i in evidence.items)
    held = frozenset(known.held), known.again
    return tuple(bands), evidence.opened, evidence.passed_over, held


def play_fixed(
    setup: Setup,
    world: World,
    *,
    skip: Callable[[str], bool] = lambda test: False,
    expansions: int | None = None,
) -> Played:
    """The family's usual order, leaving out tests that can no longer change anything: those that
    see only suspects already shown out or hardly believed. The same stop rule, and what is held
    back (until another test is read, or the machine was seen to run) is so here, too. With
    ``expansions`` it also stops unproven wherever the planner would, which is asked so hard."""
    items: list[Item] = []
    opened: frozenset[str] = frozenset()
    price = 0.0
    tests: list[str] = []
    truth = world.table.hypotheses[world.truth].parts
    table = world.table
    order = [t for t in setup.machine.fixed_order if t in table.rows]
    passed = frozenset(t for t in order if skip(t))
    for test in order:
        belief = weigh(table, items)
        proof = judge_proof(belief)
        while proof.again and not proof.open:  # only another touch of the probes is missing
            again = proof.again[0]
            times = sum(i.test == again for i in items)
            if times > MOST_TIMES:
                break
            more, opened = reach(setup, again, opened)
            price += more
            tests.append(again)
            items.append(world.read(again, again=times, after=tests))
            belief = weigh(table, items)
            proof = judge_proof(belief)
        if proof.proven:
            break
        if expansions is not None:
            evidence = Evidence(tuple(items), opened=opened, skipped=passed)
            step = assess(setup, evidence, deadline=None, max_expansions=expansions).next
            if step is not None and step.kind != "test":
                named = frozenset(step.id.split("+")) if step.id else frozenset()
                price += finish(setup, truth, named, False)
                return Played(named, truth, False, price, tuple(tests))
        row = table.rows[test]
        sees = row.index != row.good
        seen = seen_to_do(belief, table)
        held = held_back(setup.bench, frozenset(tests), passed, False, (), seen)
        if float(belief.p[sees].sum()) < 0.005 or test in held:
            continue
        more, opened = reach(setup, test, opened)
        price += more
        tests.append(test)
        items.append(world.read(test, after=tests))
    proof = judge_proof(weigh(table, items))
    price += finish(setup, truth, proof.parts, proof.proven)
    return Played(proof.parts, truth, proof.proven, price, tuple(tests))


def within_reach(setup: Setup, world: World, skip: Callable[[str], bool]) -> tuple[str, ...]:
    """Tests that could be taken on this job: not passed over, what must be read first among them,
    and on a machine that was seen to do what they need."""
    rows = world.table.rows
    passed = frozenset(t for t in rows if skip(t))
    taken: tuple[str, ...] = ()
    while True:
        seen = seen_to_do(weigh(world.table, read_in_turn(world, taken)), world.table)
        held = held_back(setup.bench, frozenset(taken), passed, False, (), seen)
        more = tuple(t for t in rows if t not in held)
        if not more:
            return taken
        taken += more


def read_in_turn(world: World, tests: Iterable[str]) -> list[Item]:
    """What these tests show, taken in this order."""
    order = list(tests)
    return [world.read(t, after=order[:k]) for k, t in enumerate(order)]


def told_by_all(world: World) -> Proof:
    """The proof after every test of the table, those it hangs on read again: what an oracle that
    sees every result can tell of this job."""
    items = read_in_turn(world, world.table.rows)
    for again in (1, 2):
        proof = judge_proof(weigh(world.table, items))
        items += [world.read(test, again=again, after=world.table.rows) for test in proof.again]
    return judge_proof(weigh(world.table, items))


def play_oracle(setup: Setup, world: World) -> Played | None:
    """The cheapest set of tests found whose readings prove the true part; None when not even all
    readings together do: then nobody could have told this job.

    Sets of one and two tests are tried in full among those that see the fault; larger ones by
    taking tests away, the dearest first, from the set of all.
    """
    table = world.table
    truth = table.hypotheses[world.truth].parts
    if not truth:
        return None
    readings = {t: world.read(t) for t in table.rows}
    second = {t: world.read(t, again=1) for t in table.rows}

    def judged(tests: Iterable[str]) -> tuple[Proof, tuple[str, ...]]:
        """The proof, and the tests that had to be read twice for it."""
        items = [readings[t] for t in tests]
        proof = judge_proof(weigh(table, items))
        if not proof.again or proof.open:
            return proof, ()
        return judge_proof(weigh(table, [*items, *(second[t] for t in proof.again)])), proof.again

    def proves(tests: Iterable[str]) -> bool:
        proof, _ = judged(tests)
        return proof.proven and proof.parts == truth

    def price(tests: Iterable[str]) -> float:
        total, opened = 0.0, frozenset[str]()
        for t in tests:
            more, opened = reach(setup, t, opened)
            total += more
        return total

    def with_repeats(tests: Iterable[str]) -> float:
        return price(tests) + sum(of(table.rows[t].minutes) for t in judged(tests)[1])

    of = setup.bench.prices.of_minutes
    found = _shrunk(list(readings), proves, price)
    best = None if found is None else (with_repeats(found), found)
    index = [i for i, h in enumerate(table.hypotheses) if truth <= h.parts]
    telling = [t for t, r in table.rows.items() if (r.index[index] != r.good).any()]
    pairs = itertools.combinations(table.rows, 1), itertools.product(telling, table.rows)
    for chosen in itertools.chain(*pairs):
        tests = tuple(dict.fromkeys(chosen))
        if (best is None or price(tests) < best[0]) and proves(tests):
            cost = with_repeats(tests)
            if best is None or cost < best[0]:
                best = cost, tests
    return None if best is None else Played(truth, truth, True, *best)


def play_shrunk(setup: Setup, world: World, taken: Iterable[str] | None = None) -> Played | None:
    """A cheap set of tests that proves the true part: of those ``taken`` (None: of all), the
    dearest are taken away as long as the rest, read once more where the proof hangs on it, still
    proves. Quicker than `play_oracle`, and a little dearer."""
    table = world.table
    truth = table.hypotheses[world.truth].parts
    every = list(table.rows if taken is None else taken)

    def with_first(tests: Iterable[str]) -> tuple[str, ...]:
        """The tests, before each of them those that must be read first."""
        found: dict[str, None] = {}
        for t in tests:
            first = [q for q in table.rows[t].after if q in table.rows and q not in found]
            found |= dict.fromkeys((*(with_first(first) if first else ()), t))
        return tuple(found)

    def again(tests: Iterable[str]) -> tuple[str, ...] | None:
        """What has to be read once more for the proof; None: there is none."""
        order = with_first(tests)
        items = read_in_turn(world, order)
        proof = judge_proof(weigh(table, items))
        more = () if proof.proven or proof.open else proof.again
        if more:
            second = [world.read(t, again=1, after=order) for t in more]
            proof = judge_proof(weigh(table, [*items, *second]))
        return more if proof.proven and proof.parts == truth else None

    found = _shrunk(every, lambda ts: again(ts) is not None,
                    lambda ts: sum(reach(setup, t, frozenset())[0] for t in ts))  # fmt: skip
    if found is None:
        return None
    price, opened = 0.0, frozenset[str]()
    for t in (*with_first(found), *(again(found) or ())):
        more, opened = reach(setup, t, opened)
        price += more
    return Played(truth, truth, True, price, with_first(found))


def _shrunk(
    tests: list[str],
    proves: Callable[[Iterable[str]], bool],
    price: Callable[[Iterable[str]], float],
) -> tuple[str, ...] | None:
    """Tests taken away, the dearest first, as long as the rest still proves: half of what is left
    to try at once, and where that takes the proof away, half of that."""
    if not proves(tests):
        return None
    kept = sorted(tests, key=lambda t: price([t]))
    runs = [list(kept)]
    while runs:
        run = runs.pop()
        rest = [t for t in kept if t not in run]
        if proves(rest):
            kept = rest
        elif len(run) > 1:
            runs += [run[: len(run) // 2], run[len(run) // 2 :]]  # the dear half is tried first
    return tuple(kept)
