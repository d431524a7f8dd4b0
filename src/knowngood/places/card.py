"""The bench card of a machine and a complaint: as much of the plan as one page holds, and the
wiring with the same numbers of the points."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

from knowngood.diagnosis.assess import Setup
from knowngood.diagnosis.evidence import Evidence
from knowngood.diagnosis.hazard import hazards
from knowngood.documents.bench_card import bench_card_document
from knowngood.documents.document import Document
from knowngood.documents.parties import Shop
from knowngood.documents.pdf import Paper, pages_of
from knowngood.isolate.group import Follow
from knowngood.isolate.page import page_lines, pages
from knowngood.isolate.policy import Node, Standing
from knowngood.isolate.shared import share
from knowngood.places.card_ends import tell_ends
from knowngood.places.gated import Gate
from knowngood.places.plan import Json, Leaf, PlanTree, advice_on, grown, tree_json
from knowngood.places.wiring import card_wiring, wiring_picture

LOOKS = 1500
MOST_LINES = 260.0
"""More printed lines than any page holds."""
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
    few bands with round edges; where the plan is cut it names the likeliest part,
    what else is left, and the steps to go on with."""
    plans = CardPlans(setup, looks, evidence)
    picture = wiring_picture(setup.machine)
    numbers = dict(picture.numbers) if picture else {}
    meter = setup.bench.meter.title if setup.bench.meter else ""

    def made(tree: Json, drawings: Sequence[str] = ()) -> Document:
        return bench_card_document(
            setup.machine, complaint_words, tree, drawings, shop,
            points=numbers, now=now, job=job, meter=meter,
            so_far=_so_far(setup, evidence), opened=evidence.opened,
            read=evidence.read | evidence.passed_over,
        )  # fmt: skip

    low, high = 0, len(plans.found) - 1  # the first that fits; the shortest always does
    while low < high:
        middle = (low + high) // 2
        if pages_of(made(plans.tree(middle)), now, paper=paper) == 1:
            high = middle
        else:
            low = middle + 1
    tree = plans.tree(low)
    return made(tree, card_wiring(setup.machine, read_on(tree))), tree


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
        self._follow = Follow(self.advice.task)
        self._looks = {t.id for t in setup.machine.tests if t.hazard} | self.gate.waits.keys()
        found = pages(self.advice.plan)
        self.found = [p for p in found if page_lines(p[0]) <= MOST_LINES] or found[-1:]
        self._pages: dict[int, tuple[Node, float]] = {}

    def page(self, at: int) -> tuple[Node, float]:
        """A plan, its ends sent on to steps it has already, and its expected price."""
        if at not in self._pages:
            node = self.found[at][0]
            self._pages[at] = share(self._follow, node, self.gate.allows, self._looks)
        return self._pages[at]

    def tree(self, at: int) -> Json:
        """The policy of a plan as plain values, its ends with what is left and how to go on."""
        node, price = self.page(at)
        root = Leaf(node, Standing.start(self.advice.task), self.opened)
        places = grown(self.setup, self.advice.task, root)
        plan = replace(self.advice.plan, policy=node, expected_price=price)
        tree = PlanTree(self.setup, replace(self.advice, plan=plan), root, places)
        policy: Json = tree_json(tree)["policy"]
        tell_ends(policy, root, self.advice.task, self.gate)
        return policy


def read_on(tree: Json) -> frozenset[str]:
    """Ids of the tests that a plan names."""
    own = {tree["do"]["id"]} if "do" in tree else set(tree.get("go_on", ()))
    return frozenset(own).union(*(read_on(branch["next"]) for branch in tree.get("then", ())))
