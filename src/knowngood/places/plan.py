"""The plan as a bounded tree of readings in bands: for paper, for a phone without network."""

from __future__ import annotations

import heapq
import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

from knowngood.diagnosis.assess import Setup, known_from
from knowngood.diagnosis.evidence import Evidence
from knowngood.diagnosis.hazard import bad_answer, hazards, looks_before
from knowngood.diagnosis.sentences import limits_words
from knowngood.diagnosis.steps import ONCE_MORE, cautions_at, opening_order, way_there
from knowngood.isolate.advice import Advice, advise
from knowngood.isolate.policy import COME_BACK, Node, Standing, after_test, is_proven
from knowngood.isolate.task import Task
from knowngood.isolate.truncate import truncate
from knowngood.machines.machine import ServicePart, Test
from knowngood.machines.safety import charged_again
from knowngood.measure.display import shown
from knowngood.measure.meter import MeterSheet
from knowngood.measure.units import BASE_UNIT, DIMENSION_OF
from knowngood.places.gated import cut_with_gate, keep_gate
from knowngood.places.library import number_wants, part_number
from knowngood.places.sentence import lower_first, parts_words, upper_first

Json = dict[str, Any]
WORTH_NAMING = 0.01
NO_EVIDENCE = Evidence()
STOP_HERE = (
    "STOP, leave it alone: do not charge, open or plug it in; outdoors, where nothing can burn;"
    " go on with a pack of the shop and the program"
)
COME_BACK_MINUTES = 2.0  # to type in what was read on paper, common practice


@dataclass
class Leaf:
    """A place in the tree. ``node`` None: what the plan does next is not shown here."""

    node: Node
    standing: Standing
    opened: frozenset[str]
    then: list[Branch] = field(default_factory=list)
    shown: bool = False
    alone: str = ""  # the part that must be left alone from here on
    here: str = ""  # the state that was read in before

    @property
    def mass(self) -> float:
        return float(self.standing.mass.sum())


@dataclass
class Branch:
    """Outcomes that lead to one place, neighbours joined; ``low`` and ``high`` in base units."""

    outcomes: list[str]
    low: float | None
    high: float | None
    chance: float
    leaf: Leaf


@dataclass(frozen=True, slots=True)
class PlanTree:
    """The plan of a complaint; ``root`` shows at most the asked number of places."""

    setup: Setup
    advice: Advice
    root: Leaf
    places: int
    evidence: Evidence = NO_EVIDENCE
    plate: tuple[str | None, str] = (None, "")  # model and serial, for the numbers of parts
    again: tuple[str, ...] = ()
    """Tests to be read once more before anything live: the tree is for when they read the same."""


def advice_on(
    setup: Setup, evidence: Evidence, *,
    deadline: float | None = None, max_expansions: int | None = None,
) -> Advice:  # fmt: skip
    """The plan from this evidence on, before it is cut to a page."""
    known = known_from(setup, evidence)
    return keep_gate(setup, advise(
        setup.bench, known.belief, opened=evidence.opened, read=evidence.read,
        skipped=evidence.passed_over, decided=evidence.decided, called=known.called,
        deadline=deadline, max_expansions=max_expansions, barred=known.held,
    ))  # fmt: skip


def plan_tree(
    setup: Setup, evidence: Evidence, *, most: int = 127,
    deadline: float | None = 5.0, max_expansions: int | None = None,
    plate: tuple[str | None, str] = (None, ""),
) -> PlanTree:  # fmt: skip
    """Plan from this evidence and keep the ``most`` likeliest places of the tree. ``plate``: model
    and serial, which decide the numbers to order."""
    advice = advice_on(setup, evidence, deadline=deadline, max_expansions=max_expansions)
    task, ask = advice.task, most
    fee = setup.bench.prices.of_minutes(COME_BACK_MINUTES)
    for _ in range(3):
        policy = cut_with_gate(setup, task, truncate(advice.plan, ask, fee).policy)
        root = Leaf(policy, Standing.start(task), evidence.opened)
        places, whole = _grow(setup, task, root, most)
        if whole or ask < 2:
            break
        ask = ask * 4 // 5
    again = known_from(setup, evidence).again
    return PlanTree(setup, advice, root, places, evidence, plate, again)


def _grow(setup: Setup, task: Task, root: Leaf, most: int) -> tuple[int, bool]:
    """Show the likeliest places first, as many as fit with all their outcomes: (how many, whether
    that was all). Where the card sends its reader back to the program is none of them."""
    count, tick, whole = int(root.node.kind != COME_BACK), 0, True
    waiting = [(-root.mass, tick, root)]
    while waiting:
        _, _, leaf = heapq.heappop(waiting)
        if leaf.node.kind != "test":
            leaf.shown = leaf.node.kind != COME_BACK
            continue
        branches = _branches(setup, task, leaf)
        more = sum(b.leaf.node.kind != COME_BACK for b in branches)
        if count + more > most:
            whole = False
            count -= 1
            continue
        leaf.then, leaf.shown = branches, True
        count += more
        for branch in branches:
            tick += 1
            heapq.heappush(waiting, (-branch.leaf.mass, tick, branch.leaf))
    return count, whole


def grown(setup: Setup, task: Task, root: Leaf) -> int:
    """Show all of the tree below ``root``; how many places."""
    return _grow(setup, task, root, 1_000_000)[0]


def _branches(setup: Setup, task: Task, leaf: Leaf) -> list[Branch]:
    test = next(t for t in setup.machine.tests if t.id == leaf.node.id)
    condition = setup.machine.state_of(test)
    opened = leaf.opened | set(opening_order(setup.machine, condition.open, leaf.opened))
    opened -= {*condition.closed, *charged_again(setup.machine, condition)}
    bands = setup.bench.bands(test.id)
    edges = {f"band{n}": pair for n, pair in enumerate(pairwise(bands.edges), start=1)}
    then = dict(leaf.node.then)
    _, after = after_test(task, leaf.standing, test.id)
    found: list[Branch] = []
    for label, standing in zip(bands.labels, after, strict=True):
        if label not in then or standing.mass.sum() <= 0:
            continue
        low, high = edges.get(label, (None, None))
        chance = float(standing.mass.sum()) / leaf.mass
        child = Leaf(then[label], standing, opened, here=condition.id)
        if test.hazard and label == bad_answer(test):
            child = Leaf(Node("stop", parts=(test.hazard,)), standing, opened, alone=test.hazard)
        last = found[-1] if found else None
        joins = last is not None and label.startswith("band") and last.high == low
        if last is not None and joins and _alike(last.leaf.node, child.node):
            last.outcomes.append(label)
            last.high, last.chance = high, last.chance + chance
            s = last.leaf.standing
            both = Standing(
                s.mass + standing.mass, s.open, s.fitted, s.excluded & standing.excluded
            )
            last.leaf = Leaf(child.node, both, opened, here=condition.id)
        else:
            found.append(Branch([label], low, high, chance, child))
    return found


def _alike(a: Node, b: Node) -> bool:
    """Both say the same on paper."""
    return a.kind == b.kind == COME_BACK or a == b


def _proven(task: Task, leaf: Leaf) -> bool:
    k = task.cure_sets.index(task.set_key(leaf.node.parts))
    return bool(leaf.node.parts) and is_proven(task, leaf.standing, k)


def _belief(task: Task, leaf: Leaf) -> float:
    """That the parts named are bad, alone or with others."""
    k = task.cure_sets.index(task.set_key(leaf.node.parts))
    return float(leaf.standing.mass[task.inside[:, k]].sum()) / leaf.mass


def _in_question(task: Task, leaf: Leaf) -> list[tuple[tuple[str, ...], float]]:
    """Parts still in question at a place, the likeliest first."""
    shares = [
        (parts, float(leaf.standing.mass[task.set_of == k].sum()) / leaf.mass)
        for k, parts in enumerate(task.cure_sets)
    ]
    return sorted((s for s in shares if s[1] >= WORTH_NAMING), key=lambda s: -s[1])


def tree_json(tree: PlanTree) -> Json:
    """The whole plan as plain values; see docs/scripts.md."""
    plan = tree.advice.plan
    meter = tree.setup.bench.meter
    return {
        "machine": {"id": tree.setup.machine.id, "words": tree.setup.machine.words,
                    "digest": tree.setup.machine.digest},
        "meter": meter.name if meter else None,
        "expected_price": plan.expected_price, "lower": plan.lower, "upper": plan.upper,
        "exact": plan.exact, "currency": tree.setup.bench.prices.currency,
        "nodes": tree.places, "again": list(tree.again), "policy": _json(tree, tree.root),
    }  # fmt: skip


def _json(tree: PlanTree, leaf: Leaf) -> Json:
    setup, task = tree.setup, tree.advice.task
    if not leaf.shown:
        left = [{"parts": list(p), "belief": b} for p, b in _in_question(task, leaf)]
        return {"cut": True, "chance": leaf.mass, "in_question": left}
    if leaf.node.kind != "test":
        parts = list(leaf.node.parts)
        by_id = {p.id: p for p in setup.machine.parts}
        return {
            "stop": parts, "words": parts_words(setup.machine, parts),
            "numbers": [part_number(by_id[p], *tree.plate) for p in parts],
            "proven": bool(leaf.alone) or _proven(task, leaf),
            "belief": 1.0 if leaf.alone else _belief(task, leaf), "chance": leaf.mass,
            **({"unsafe": STOP_HERE} if leaf.alone else {}),
        }  # fmt: skip
    test = next(t for t in setup.machine.tests if t.id == leaf.node.id)
    condition = setup.machine.state_of(test)
    opens = opening_order(setup.machine, condition.open, leaf.opened)
    way = way_there(setup.machine, condition, leaf.opened, leaf.here)
    return {
        "do": {
            "kind": "test", "id": test.id, "words": test.words, "question": test.question,
            "minutes": test.minutes, "condition": condition.words, "opens": opens,
            "closes": [c for c in condition.closed if c in leaf.opened],
            "red": test.red, "black": test.black, "energised": condition.energised,
            "cautions": list(cautions_at(condition, test)),
            "first": [{"words": s.words, "minding": s.caution} for s in way.off],
            "back": [s.goes_back for s in way.back],
        },
        "chance": leaf.mass,
        "then": [
            {
                "outcomes": b.outcomes,
                "words": outcome_words(test, b.outcomes, b.low, b.high, setup.bench.meter),
                "low": _finite(b.low), "high": _finite(b.high),
                "unit": unit_of(test), "chance": b.chance, "next": _json(tree, b.leaf),
            }
            for b in leaf.then
        ],
    }  # fmt: skip


def _finite(edge: float | None) -> float | None:
    return edge if edge is not None and math.isfinite(edge) else None


def unit_of(test: Test) -> str:
    """The base unit of a test's readings."""
    return BASE_UNIT[DIMENSION_OF[test.quantity]]


def outcome_words(
    test: Test, outcomes: list[str], low: float | None, high: float | None,
    meter: MeterSheet | None,
) -> str:  # fmt: skip
    """ "50 V to 58.8 V", "above 2 ohm", "OL", "jumps", "yes"; in steps that this meter shows. Where
    the suspects tell no two numbers apart it is the limits of the test: "at most 0.5 ohm"."""
    if outcomes[0] == "over":
        return "OL"
    if outcomes[0] == "unsteady":
        return "jumps"
    if outcomes[0] in ("yes", "no"):
        return outcomes[0]
    first, last = (None if _finite(x) is None else shown(meter, test.quantity, float(x or 0.0))
                   for x in (low, high))  # fmt: skip
    if first is None and last is None and len(outcomes) == 1:
        return limits_words(test.limits, test.quantity, bool(test.compare), False) or "a number"
    if first is None and last is None:
        return "any number"
    if first is None:
        return f"below {last}"
    return f"above {first}" if last is None else f"{first} to {last}"


def plan_lines(tree: PlanTree) -> Iterator[str]:
    """The plan as numbered steps, to be read on paper: each outcome says where to go on."""
    numbers: dict[int, int] = {}
    order: list[Leaf] = []
    waiting = [tree.root]
    while waiting:
        leaf = waiting.pop(0)
        if leaf.shown and leaf.node.kind == "test":
            numbers[id(leaf)] = len(order) + 1
            order.append(leaf)
            waiting += [b.leaf for b in leaf.then]
    machine = tree.setup.machine
    for one in hazards(machine, tree.evidence.items, tree.evidence.unsafe):
        yield f"STOP. {one.words}: {one.why}"
        yield from (f"     ! {line}" for line in one.to_do)
    for test in looks_before(machine, tree.evidence.read | tree.evidence.passed_over):
        yield f"Before anything runs: {test.words} {test.question}"
        yield f"     {bad_answer(test)}: {STOP_HERE}"
    tests = {t.id: t for t in machine.tests}
    for test in (tests[id] for id in tree.again):
        yield f"First {lower_first(ONCE_MORE)}: {test.words} {upper_first(test.question)}"
        yield "     as before: go on here; anything else: type it in, it plans anew"
    if not order:
        yield _end(tree, tree.root)
    for leaf in order:
        yield from _step_lines(tree, leaf, numbers)
    yield "Can't tell, or a reading that fits nothing here: type the readings in, it plans anew."


def _step_lines(tree: PlanTree, leaf: Leaf, numbers: dict[int, int]) -> Iterator[str]:
    setup = tree.setup
    test = next(t for t in setup.machine.tests if t.id == leaf.node.id)
    condition = setup.machine.state_of(test)
    way = way_there(setup.machine, condition, leaf.opened, leaf.here)
    head = f"{numbers[id(leaf)]}. {test.words} ({test.minutes:g} min; {condition.words})"
    yield f"{head} {upper_first(test.question)}"
    for step in way.off:
        yield f"     first {step.words} ({step.minutes:g} min)"
        if step.caution:
            yield f"       ! {step.caution}"
    for step in way.back:
        yield f"     then {step.goes_back}"
    if test.red or test.black:
        yield f"     red: {test.red}; black: {test.black}"
    for caution in cautions_at(condition, test):
        yield f"     ! {caution}"
    for b in leaf.then:
        place = numbers.get(id(b.leaf))
        end = f"go to {place}" if place else _end(tree, b.leaf)
        words = outcome_words(test, b.outcomes, b.low, b.high, setup.bench.meter)
        yield f"     {words:<22} {b.chance:4.0%}  {end}"


def _number(part: ServicePart, tree: PlanTree) -> str:
    wants = number_wants(part, *tree.plate)
    return f"(number by {wants.field})" if wants else part_number(part, *tree.plate)


def _end(tree: PlanTree, leaf: Leaf) -> str:
    machine, task = tree.setup.machine, tree.advice.task
    if not leaf.shown:
        left = _in_question(task, leaf)[:3]
        named = ", ".join(f"{parts_words(machine, p)} {b:.0%}" for p, b in left)
        return f"measure on with the program; left: {named}"
    if leaf.alone:
        return f"{STOP_HERE}; order {parts_words(machine, leaf.node.parts)}"
    if not leaf.node.parts:
        return "no listed part: write down what was found, and ask"
    by_id = {p.id: p for p in machine.parts}
    numbers = (_number(by_id[p], tree) for p in leaf.node.parts)
    number = " and ".join(n for n in numbers if n)
    word = "proven" if _proven(task, leaf) else "not proven"
    words = parts_words(machine, leaf.node.parts)
    return f"order {words}{f' {number}' if number else ''} ({word})"
