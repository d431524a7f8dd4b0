"""The plan on paper, to be followed at the bench without any computer: the likeliest steps on the
first page, the rest on further ones.

A plan is a tree as plain values: `{"do": {"kind": "test", "id": ...}, "then": ...}`, where `then`
is a list of `{"words": "46 V to 52 V", "next": node}` or a mapping of such words to nodes; ends are
`{"stop": [parts]}`, `{"fit_order": [parts]}`, `{"give_up": true}` and `{"cut": true}` (the plan
goes on elsewhere). Steps that go on alike are printed once.
"""

from __future__ import annotations

import heapq
import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any
from xml.etree import ElementTree

from knowngood.diagnosis.steps import cautions_at, opening_order, way_there
from knowngood.documents.document import (
    Block,
    Box,
    Document,
    Drawing,
    Fact,
    Facts,
    NewPage,
    Paragraph,
    Step,
    Steps,
    Way,
)
from knowngood.documents.parties import Shop
from knowngood.documents.wording import day, listed, minutes, sentence
from knowngood.machines.machine import Condition, Machine, TeardownStep, Test

MOST_STEPS, MOST_PAGES = 31, 6
"""So many steps of a few words fit on one page; and more pages nobody turns at a bench."""
LETTERS, ROOM, ROOM_AFTER = 84, 190, 210
"""Letters in a line, and lines on the first page below its head and on a further one, in the
smallest type that can be read on a bench (6 pt; tried on both papers)."""

Node = Mapping[str, Any]
PLAN_ANEW = "then have the plan made anew from there"
_SIGNS = {"over": "OL", "unsteady": "jumps"}


def bench_card_document(
    machine: Machine,
    complaint_words: str,
    policy: Node,
    drawing_svg: str | None,
    shop: Shop,
    *,
    now: datetime | None = None,
    job: str = "",
    meter: str = "",
    most: int = MOST_STEPS,
    pages: int = MOST_PAGES,
) -> Document:
    """The card of a plan (see above for its shape). Names of tests, parts and teardown steps that
    the machine does not have are printed as they are. `most` steps a page, on `pages` of them; a
    line whose step stands on none says so. `drawing_svg` is a drawing of this program;
    ValueError if it is no SVG, or one that fetches something."""
    card = _Card(machine, policy, most, pages)
    sheets = card.sheets()
    blocks: list[Block] = [
        Facts(_facts(machine, complaint_words, meter), columns=2, left=2),
        _cautions(machine),
    ]
    if card.left_out:
        left = f"{card.left_out} more step{'s' if card.left_out > 1 else ''} of this plan did not"
        blocks.append(
            Paragraph(f"{left} fit here: where a line says so, have the plan made anew.", "strong")
        )
    for page, steps in enumerate(sheets):
        if page:
            span = f"steps {steps[0].number} to {steps[-1].number}"
            blocks += [NewPage(), Paragraph(f"Page {page + 1} of the plan: {span}", "strong")]
        blocks.append(Steps(steps))
    if not sheets:
        blocks.append(Paragraph(card.end(policy), "strong"))
    if drawing_svg:
        blocks.append(_drawing(drawing_svg))
    return Document(
        title="Bench card",
        reference=f"job {job}" if job else machine.words,
        date=day(now) if now else "",
        sender=shop.name,
        sender_lines=shop.lines,
        blocks=tuple(blocks),
        closing="A reading that fits no line: range, lead, contact, then once more. Still none: "
        "leave the card and plan anew.",
    )


def _facts(machine: Machine, complaint: str, meter: str) -> tuple[Fact, ...]:
    rows = [Fact("Machine", machine.words), Fact("Complaint", complaint or "not given")]
    rows.append(Fact("Meter", meter or "any that holds the range"))
    rows.append(Fact("Serial and date", "_" * 28))
    return tuple(rows)


def _cautions(machine: Machine) -> Block:
    said = machine.cautions or ("source of energy out before anything is opened",)
    last = "What the maker prints on the machine or in its manual goes before this card."
    text = " ".join([*(sentence(one) for one in said), last])
    return Box("Before every step", (Paragraph(text),), "warning")


def _drawing(svg: str) -> Drawing:
    try:
        root = ElementTree.fromstring(svg)
    except ElementTree.ParseError as why:
        raise ValueError(f"the drawing is no SVG: {why}") from None
    if root.tag.rpartition("}")[2] != "svg":
        raise ValueError(f"the drawing is {root.tag[:40]!r}, not an svg")
    for element in root.iter():
        name = str(element.tag).rpartition("}")[2]
        outside = [a for a in element.attrib if a.rpartition("}")[2] in ("href", "src")]
        if name in ("image", "script", "foreignObject", "style") or outside:
            raise ValueError(f"the drawing has <{name}>, which may fetch something; draw it anew")
    return Drawing(svg, "Wiring: R red lead, B black lead; numbers are the test points listed.")


@dataclass(slots=True)
class _Place:
    """A step of the card: its node, what is open when one comes to it, and in which conditions one
    comes; `chance` of coming here."""

    node: Node
    opened: frozenset[str]
    chance: float
    before: set[str] = field(default_factory=set)


@dataclass(slots=True)
class _Card:
    """Takes the likeliest steps, numbers them nearest first and writes them out."""

    machine: Machine
    root: Node
    most: int
    pages: int
    places: dict[str, _Place] = field(default_factory=dict)
    number: dict[str, int] = field(default_factory=dict)
    page: dict[str, int] = field(default_factory=dict)
    left_out: int = 0

    def __post_init__(self) -> None:
        start = _Place(self.root, frozenset(), 1.0)
        waiting = [(-1.0, 0, start)]
        known: set[str] = set()
        tick, room, count = 0, [ROOM, *[ROOM_AFTER] * (self.pages - 1)], [0] * self.pages
        while waiting:
            _, _, place = heapq.heappop(waiting)
            key = _key(place.node, place.opened)
            if "do" not in place.node or key in known:
                continue
            known.add(key)
            size = self.size(place)
            for page in range(self.pages):
                if count[page] < self.most and (size <= room[page] or not count[page]):
                    room[page] -= size
                    count[page] += 1
                    self.places[key], self.page[key] = place, page
                    break
            for child in self.after(place):
                tick += 1
                heapq.heappush(waiting, (-child.chance, tick, child))
        nearest, order = [start], dict[str, None]()
        for place in nearest:
            key = _key(place.node, place.opened)
            if key not in self.places:
                continue
            self.places[key].before |= place.before
            if key not in order:
                order[key] = None
                nearest += self.after(place)
        self.left_out = len(known) - len(order)
        paged = sorted(order, key=lambda one: self.page[one])
        self.number = {key: n for n, key in enumerate(paged, 1)}
        full = {old: new for new, old in enumerate(dict.fromkeys(self.page[k] for k in paged))}
        self.page = {key: full[self.page[key]] for key in paged}

    def size(self, place: _Place) -> int:
        """About how many lines of small type a step takes."""
        test = self.test(place.node)
        texts = [*self.lines(place, test), " ".join(self.cautions(place, test))]
        ways = min(4, sum(1 for _ in _ways(place.node)))
        return 2 + ways + sum(-(-len(one) // LETTERS) for one in texts)

    def after(self, place: _Place) -> Iterator[_Place]:
        if "do" not in place.node:
            return
        test = self.test(place.node)
        opened = self.opened_after(place)
        ways = list(_ways(place.node))
        for _, node, share in ways:
            chance = place.chance * (share if share is not None else 1 / len(ways))
            yield _Place(node, opened, chance, {test.condition if test else ""})

    def sheets(self) -> list[tuple[Step, ...]]:
        """The steps of each page."""
        used = sorted(set(self.page.values()))
        return [tuple(self.steps(page)) for page in used]

    def steps(self, page: int) -> Iterator[Step]:
        for key, number in self.number.items():
            if self.page[key] != page:
                continue
            place = self.places[key]
            test = self.test(place.node)
            text = test.words if test else self.other(place.node)
            yield Step(
                str(number),
                sentence(text),
                tuple(self.lines(place, test)),
                _flowing(self.cautions(place, test)),
                tuple(self.ways(place, test)),
                record=test is not None and test.quantity != "yes_no",
            )

    def test(self, node: Node) -> Test | None:
        return next((t for t in self.machine.tests if t.id == node["do"].get("id")), None)

    def other(self, node: Node) -> str:
        do = node["do"]
        if do.get("kind") == "part":
            return f"Fit {self.part(str(do.get('id', '')))} and try"
        return str(do.get("words") or do.get("id", ""))

    def opens(self, place: _Place, test: Test | None) -> list[str]:
        if test is not None:
            wanted = self.condition(test).open
        else:
            id = place.node["do"].get("id")
            wanted = next((p.needs for p in self.machine.parts if p.id == id), ())
        return opening_order(self.machine, wanted, place.opened)

    def condition(self, test: Test | None) -> Condition:
        """The state for this test; for none, the machine as it stands."""
        plain = Condition("", test.condition if test else "")
        wanted = test.condition if test else ""
        return next((one for one in self.machine.conditions if one.id == wanted), plain)

    def opened_after(self, place: _Place) -> frozenset[str]:
        test = self.test(place.node)
        opened = place.opened | set(self.opens(place, test))
        return opened - set(self.condition(test).closed)

    def lines(self, place: _Place, test: Test | None) -> Iterator[str]:
        teardown = {t.id: t for t in self.machine.teardown}
        opens = [teardown[one] for one in self.opens(place, test)]
        way = way_there(self.machine, self.condition(test), place.opened)
        shut = [teardown[c] for c in self.condition(test).closed if c in place.opened]
        spent = (test.minutes if test else 0.0) + sum(one.minutes for one in opens)
        spent += sum(one.back_minutes for one in shut)
        live = self.condition(test).energised
        told = test is not None and place.before == {test.condition} and not live
        state = self.condition(test).words if test and not told else ""
        said = [minutes(spent), f"{'ENERGISED: ' if live else ''}{state}"]
        off = way.off if test else opens
        if off:
            said.append(f"off first: {'; '.join(_minded(one) for one in off)}")
        if way.back:
            said.append(f"then: {listed([one.goes_back for one in way.back])}")
        yield "; ".join(one for one in said if one)
        asked = []
        if test and (test.red or test.black):
            asked.append(f"red: {test.red or 'not used'}, black: {test.black or 'not used'}")
        if test and test.quantity == "yes_no":
            asked.append(f"{test.question.rstrip(' ?')}?")
        if test and test.good_reads:
            asked.append(f"good: {test.good_reads}")
        if asked:
            yield "; ".join(asked).replace("?;", "?")

    def cautions(self, place: _Place, test: Test | None) -> tuple[str, ...]:
        return cautions_at(self.condition(test), test) if test is not None else ()

    def ways(self, place: _Place, test: Test | None) -> Iterator[Way]:
        after = self.opened_after(place)
        here = self.page[_key(place.node, place.opened)]
        joined: dict[tuple[str, bool], list[str]] = {}
        for words, node, _ in _ways(place.node):
            key = _key(node, after)
            if (number := self.number.get(key)) is not None:
                away = "" if self.page[key] == here else f", page {self.page[key] + 1}"
                then = (f"go to {number}{away}", False)
            elif "do" in node or "cut" in node:
                then = (PLAN_ANEW, False)
            else:
                then = (self.end(node), True)
            joined.setdefault(then, []).append(_SIGNS.get(words, words))
        for (then_words, end), reads in sorted(joined.items(), key=lambda w: w[0][0] == PLAN_ANEW):
            whole = " or ".join(_joined(reads))
            if then_words == PLAN_ANEW and len(reads) > 1:
                whole = "anything else" if len(joined) > 1 else "whatever it reads"
            yield Way(whole, then_words, end)

    def end(self, node: Node) -> str:
        """What to do where the plan stops."""
        if node.get("fit_order"):
            order = [self.part(str(one)) for one in node["fit_order"]]
            return "fit one by one until cured: " + ", then ".join(order)
        if node.get("give_up"):
            return "stop here: say what was found, and send it on"
        if node.get("cut"):
            left = [one["parts"] for one in node.get("in_question", ())][:3]
            named = ", ".join(listed([self.part(p) for p in parts]) for parts in left if parts)
            return f"{PLAN_ANEW} ({named})" if named else PLAN_ANEW
        parts = [self.part(str(one)) for one in node.get("stop", ())]
        if not parts:
            return "no listed part: write down what was found, and ask"
        doubt = "" if node.get("proven", True) else " (not proven: prove it first, or say so)"
        return f"order {listed(parts)}{doubt}"

    def part(self, id: str) -> str:
        part = next((p for p in self.machine.parts if p.id == id), None)
        if part is None:
            return id
        several = {n.number for n in part.numbers}
        if len(several) == 1:
            return f"{part.words} {several.pop()}"
        return part.words


def _minded(step: TeardownStep) -> str:
    """What comes off, with what to mind while it does."""
    return f"{step.words} ({step.caution.rstrip('.')})" if step.caution else step.words


def _flowing(cautions: tuple[str, ...]) -> tuple[str, ...]:
    return (" ".join(sentence(one) for one in cautions),) if cautions else ()


def _ways(node: Node) -> Iterator[tuple[str, Node, float | None]]:
    """(what is read, what follows, its chance if the plan tells)"""
    then = node.get("then", {})
    if isinstance(then, Mapping):
        yield from ((str(words), child, None) for words, child in then.items())
    else:
        yield from ((str(one["words"]), one["next"], one.get("chance")) for one in then)


def _joined(reads: list[str]) -> list[str]:
    """Stretches that touch, as one: "below 8 ohm", "8 ohm to 15 ohm" -> "below 15 ohm"."""
    done: list[str] = []
    for read in reads:
        last = _stretch(done[-1]) if done else None
        here = _stretch(read)
        if last and here and last[1] and last[1] == here[0]:
            low, high = last[0], here[1]
            up = f"{low} to {high}" if high else f"above {low}"
            done[-1] = up if low else f"below {high}" if high else "any number"
        else:
            done.append(read)
    return done


def _stretch(read: str) -> tuple[str, str] | None:
    """The low and high end of "46 V to 52 V", "below 46 V", "above 52 V"; "" for none."""
    first, _, rest = read.partition(" ")
    if first in ("below", "above") and rest:
        return ("", rest) if first == "below" else (rest, "")
    low, to, high = read.partition(" to ")
    return (low, high) if to else None


def _key(node: Node, opened: frozenset[str]) -> str:
    """The same for two places from which everything goes on alike."""
    return json.dumps([_bare(node), sorted(opened)], sort_keys=True, default=str)


def _bare(node: Node) -> Any:
    if "do" in node:
        return [node["do"].get("id"), [[words, _bare(child)] for words, child, _ in _ways(node)]]
    dull = ("chance", "belief", "words", "numbers")
    kept = {key: value for key, value in node.items() if key not in dull}
    if node.get("cut"):
        kept["in_question"] = [one["parts"] for one in node.get("in_question", ())]
    return kept
