"""The bench card of a machine and a complaint: as much of the plan as one page holds, and the
wiring with the same numbers of the points."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import datetime
from functools import cache

from knowngood.diagnosis.assess import Setup
from knowngood.diagnosis.evidence import Evidence
from knowngood.diagnosis.hazard import bad_answer, hazards
from knowngood.documents.bench_card import bench_card_document
from knowngood.documents.document import Document
from knowngood.documents.parties import Shop
from knowngood.documents.pdf import Paper, pages_of
from knowngood.isolate.group import Follow
from knowngood.isolate.page import page_lines, pages
from knowngood.isolate.policy import Standing
from knowngood.isolate.shared import share
from knowngood.isolate.tailed import Tailed, with_tails
from knowngood.isolate.tails import Passed, Tails
from knowngood.places.card_ends import tell_ends
from knowngood.places.gated import Gate
from knowngood.places.plan import Json, Leaf, PlanTree, advice_on, grown, tree_json
from knowngood.places.wiring import card_wiring, one_back, wiring_picture

LOOKS = 800
MOST_LINES = 260.0
"""More printed lines than any page holds."""
ELSEWHERE = 4
"""Tests that its ends may tell to take though the plan takes them nowhere, at most."""
BESIDE = 1
"""Longer pages looked at beside the longest that fits."""
NOTHING_YET = Evidence()


def bench_card(
    setup: Setup,
    complaint_words: str,
    shop: Shop,
    *,
    now: datetime,
    evidence: Evidence = NOTHING_YET,
    job: str = "",
    paper: Paper = "a4",
    looks: int = LOOKS,
) -> tuple[Document, Json]:
    """(the card, its plan as plain values): on the first page the longest plan that fits there,
    on its back the wiring around the points it names.

    The plan goes on from the evidence, without any it is the plan from the start. Readings are in
    bands with round edges; where the plan is cut it says what is left, or which tests to take in a
    row and what each of them tells."""
    plans = CardPlans(setup, looks, evidence)
    tree, _, made = fitted(plans, complaint_words, shop, now=now, evidence=evidence, job=job,
                           paper=paper)  # fmt: skip
    return made(tree, card_wiring(setup.machine, read_on(tree))), tree


def fitted(
    plans: CardPlans,
    complaint_words: str,
    shop: Shop,
    *,
    now: datetime,
    evidence: Evidence = NOTHING_YET,
    job: str = "",
    paper: Paper = "a4",
) -> tuple[Json, float, Callable[[Json, Sequence[str]], Document]]:
    """(the plan of the printed page as plain values, what following it costs, the document of a
    plan and its drawings)"""
    setup = plans.setup
    picture = wiring_picture(setup.machine)
    numbers = dict(picture.numbers) if picture else {}
    meter = setup.bench.meter.title if setup.bench.meter else ""

    def made(tree: Json, drawings: Sequence[str]) -> Document:
        return bench_card_document(
            setup.machine, complaint_words, tree, drawings, shop,
            points=numbers, now=now, job=job, meter=meter,
            so_far=_so_far(setup, evidence), opened=evidence.opened,
            read=evidence.read | evidence.passed_over,
        )  # fmt: skip

    @cache
    def fits(at: int) -> bool:
        tree = plans.tree(at)
        front = pages_of(made(tree, ()), now, paper=paper) == 1
        return front and one_back(setup.machine, read_on(tree))

    chosen = plans.cheapest(fits)
    return plans.tree(chosen), plans.page(chosen).price, made


def _so_far(setup: Setup, evidence: Evidence) -> str:
    """ "3 readings; off: motor cover"."""
    read = len(evidence.read)
    unsafe = hazards(setup.machine, evidence.items, evidence.unsafe)
    said = [f"STOP, {one.words} left alone ({one.why}): not charged, opened or plugged in; outdoors"
            for one in unsafe]  # fmt: skip
    said += [evidence.which] if evidence.which else []
    said += [f"{read} step{'s' * (read > 1)} read"] if read else []
    said += ["off: " + ", ".join(s.words for s in setup.machine.teardown if s.id in evidence.opened)
             ] if evidence.opened else []  # fmt: skip
    return "; ".join(said)


class CardPlans:
    """Plans for pages of different length, the longest first, with their expected prices."""

    def __init__(
        self, setup: Setup, looks: int = LOOKS, evidence: Evidence = NOTHING_YET
    ) -> None:
        bench = replace(setup.bench, for_paper=True, _bands={})
        self.setup = Setup(setup.machine, bench)
        self.opened = evidence.opened
        self.advice = advice_on(self.setup, evidence, max_expansions=looks)
        self.gate = Gate.of(self.setup, self.advice.task)
        follow = Follow(self.advice.task)
        hazard = [t for t in setup.machine.tests if t.hazard]
        self._unsafe = frozenset(t.id for t in hazard)
        self._sealed = frozenset((t.id, bad_answer(t)) for t in hazard)
        self._needed = self._unsafe | self.gate.waits.keys()
        self._tails = Tails(follow, self._barred)
        found = pages(self.advice.plan, self._barred)
        self.found = [p for p in found if page_lines(p[0]) <= MOST_LINES] or found[-1:]
        self._pages: dict[int, Tailed] = {}

    def _barred(self, passed: Passed) -> frozenset[str]:
        """Tests that no end may tell to take: an unsafe answer would need more words."""
        return self.gate.barred(passed) | self._unsafe

    def page(self, at: int) -> Tailed:
        """A plan, its ends sent on to steps it has already or with tests to take in a row, a few of
        them such as the plan takes nowhere; and its expected price."""
        if at not in self._pages:
            node, follow = self.found[at][0], self._tails.follow
            shared = share(follow, node, self.gate.allows, self._needed)
            self._pages[at] = with_tails(
                self._tails, *shared, most=ELSEWHERE, sealed=self._sealed
            )
        return self._pages[at]

    def cheapest(self, fits: Callable[[int], bool]) -> int:
        """The place in `found` of the cheapest page that fits, of those about where the longest
        does."""
        low, high = 0, len(self.found) - 1
        best = high  # the shortest always does
        while low < high:
            middle = (low + high) // 2
            low, high = (low, middle) if fits(middle) else (middle + 1, high)
        for at in range(max(low - BESIDE, 0), min(low + 2, len(self.found))):  # lines are a guess
            if self.page(at).price < self.page(best).price and fits(at):
                best = at
        return best

    def tree(self, at: int) -> Json:
        """The policy of a plan as plain values, its ends with what is left and how to go on."""
        told = self.page(at)
        root = Leaf(told.page, Standing.start(self.advice.task), self.opened)
        places = grown(self.setup, self.advice.task, root)
        plan = replace(self.advice.plan, policy=told.page, expected_price=told.price)
        tree = PlanTree(self.setup, replace(self.advice, plan=plan), root, places)
        policy: Json = tree_json(tree)["policy"]
        tell_ends(policy, root, self.advice.task, told, self.setup)
        return policy


def read_on(tree: Json) -> frozenset[str]:
    """Ids of the tests that a plan names."""
    own = {tree["do"]["id"]} if "do" in tree else {ask["test"] for ask in tree.get("tail", ())}
    return frozenset(own).union(*(read_on(branch["next"]) for branch in tree.get("then", ())))
