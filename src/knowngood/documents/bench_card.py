"""The plan on one printed page, to be followed at the bench without any computer; the back of it is
the wiring with the same numbers of the points.

A plan is a tree as plain values: `{"do": {"kind": "test", "id": ...}, "then": ...}`, where `then`
is a list of `{"words": "46 V to 52 V", "next": node}` or a mapping of such words to nodes; ends are
`{"stop": [parts]}`, `{"fit_order": [parts]}` and `{"give_up": true}`. An end that is not sure may
say what is `left` (`[{"parts": [...], "belief": 0.4}]`), or the tests to take in a row, its `tail`
(`[{"test": ..., "words": "OL", "parts": [...]}]`: where it reads so it is these parts), and what it
is `else`. Steps that go on alike are printed once, and so is how each test is taken.
"""

from __future__ import annotations

import json
import string
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any
from xml.etree import ElementTree

from knowngood.diagnosis.hazard import bad_answer, looks_before
from knowngood.documents.card_states import Taken, test_of
from knowngood.documents.document import (
    Block,
    Box,
    Document,
    Drawing,
    Fact,
    Facts,
    NewPage,
    Page,
    Paragraph,
    Step,
    Way,
)
from knowngood.documents.parties import Shop
from knowngood.documents.wording import day, listed, minutes, sentence
from knowngood.machines.machine import Machine, Test

Node = Mapping[str, Any]
_SIGNS = {"over": "OL", "unsteady": "jumps"}
_SURE = 0.9  # an end believed so much does not say what else there may be
_SELDOM = 0.02  # a reading seen less often is first taken once more
NOTHING = "no listed part: write down what was found, and ask the maker"
HOW = (
    "Begin at 1. Bold ends are sure, the others not. \"f OL: fuse; d no: key; else relay\": take "
    "f; where it reads so it is the fuse, else take d, and so on. \"left\": the first is the "
    "likeliest. Nothing listed: write down what was found, and ask the maker."
)
CLOSING = (
    "Cannot tell or not reached: go on as if it were good, but nothing LIVE before the ohms and "
    "diode steps in front of it read good. A number without a line: once more; if it stays, ask."
)


def bench_card_document(
    machine: Machine,
    complaint_words: str,
    policy: Node,
    drawings: Sequence[str],
    shop: Shop,
    *,
    points: Mapping[str, int] | None = None,
    now: datetime | None = None,
    job: str = "",
    meter: str = "",
    so_far: str = "",
    opened: frozenset[str] = frozenset(),
    read: frozenset[str] = frozenset(),
) -> Document:
    """The card of a plan (see above for its shape). Names of tests and parts that the machine does
    not have are printed as they are. `drawings`: SVG of this program, a page each, in which node
    `points[node]` bears that number; ValueError if one is no SVG, or one that fetches something.
    `so_far`: what was read before; `opened`: ids of the teardown steps that are off already;
    `read`: ids of the tests read before."""
    card = _Card(machine, policy, points or {}, opened)
    steps = tuple(card.steps())
    blocks: list[Block] = [
        Facts(_facts(machine, complaint_words, meter, so_far), columns=2, left=2),
        _cautions(machine, read),
    ]
    if steps:
        blocks.append(Page(HOW, steps, tuple(card.taken.details())))
    else:
        blocks.append(Paragraph(card.end(policy)[0], "strong"))
    for svg in drawings:
        blocks += [NewPage(), _drawing(svg)]
    return Document(
        title="Bench card",
        reference=f"job {job}" if job else machine.words,
        date=day(now) if now else "",
        sender=shop.name,
        sender_lines=(),
        blocks=tuple(blocks),
        closing=CLOSING,
        dense=True,
    )


def _facts(machine: Machine, complaint: str, meter: str, so_far: str) -> tuple[Fact, ...]:
    rows = [Fact("Machine", machine.words), Fact("Complaint", complaint or "not given")]
    rows.append(Fact("Meter", meter or "any that holds the range"))
    rows.append(Fact("Serial, date", "_" * 32))
    rows += [Fact("So far", so_far)] if so_far else []
    return tuple(rows)


def _cautions(machine: Machine, read: frozenset[str]) -> Block:
    said = machine.cautions or ("source of energy out before anything is opened",)
    last = "What the maker prints on the machine or in its manual goes before this card."
    before = [f"Before anything runs: {t.question} {bad_answer(t).capitalize()}: stop."
              for t in looks_before(machine, read)]  # fmt: skip
    text = " ".join([*before, *(sentence(one) for one in said), last])
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
    return Drawing(svg, "Wiring, switches as parked: the numbers are those of the points on the "
                   "card (R red lead, B black lead). Dashed: the shop's own, connected only where "
                   "a step says so.")  # fmt: skip


@dataclass(slots=True)
class _Card:
    """Numbers the steps nearest first, letters the tests, and writes both out."""

    machine: Machine
    root: Node
    points: Mapping[str, int]
    opened: frozenset[str] = frozenset()
    order: dict[str, Node] = field(default_factory=dict)
    number: dict[str, int] = field(default_factory=dict)
    letter: dict[str, str] = field(default_factory=dict)
    taken: Taken = field(init=False)

    def __post_init__(self) -> None:
        self.order = _nearest_first(self.root)
        self.number = {key: n for n, key in enumerate(self.order, 1)}
        nodes = self.order.values()
        used = dict.fromkeys(str(node["do"].get("id", "")) for node in nodes)
        for node in nodes:
            for _, child, _ in _ways(node):
                used |= dict.fromkeys(str(one["test"]) for one in child.get("tail", ()))
        by_state = sorted(used, key=lambda id: self.state_at(id))
        self.letter = dict(zip(by_state, _letters(len(by_state)), strict=True))
        self.taken = Taken(self.machine, self.letter, self.points, self.opened)

    def state_at(self, id: str) -> int:
        """Place of the test's condition on the card: in the order of first coming there."""
        test = self.test(id)
        states = [t.condition for n in self.order.values() if (t := self.test(n["do"].get("id")))]
        known = list(dict.fromkeys(states))
        wanted = test.condition if test else ""
        return known.index(wanted) if wanted in known else len(known)

    def test(self, id: Any) -> Test | None:
        return test_of(self.machine, id)

    def steps(self) -> Iterator[Step]:
        for key, node in self.order.items():
            id = str(node["do"].get("id", ""))
            test = self.test(id)
            asked = test.question.rstrip(" ?") if test else self.other(node)
            if test and test.quantity == "yes_no":
                asked += "?"
            near = [self.taken.pairs(test)] if test and self.taken.pairs(test) else []
            if test:
                near.append(minutes(test.minutes))
                near += ["LIVE"] if self.taken.condition(test).energised else []
            text = f"{asked[:1].upper()}{asked[1:]}"
            yield Step(str(self.number[key]), text, self.letter[id], tuple(near),
                       tuple(self.ways(node)))  # fmt: skip

    def other(self, node: Node) -> str:
        do = node["do"]
        if do.get("kind") == "part":
            return f"Fit {self.part(str(do.get('id', '')))} and try"
        return str(do.get("words") or do.get("id", ""))

    def ways(self, node: Node) -> Iterator[Way]:
        joined: dict[tuple[str, bool], list[str]] = {}
        for words, child, chance in _ways(node):
            number = self.number.get(_key(child))
            then = (str(number), True) if number else self.end(child, chance)
            joined.setdefault(then, []).append(_SIGNS.get(words, words))
        for (then_words, sure), reads in joined.items():
            yield Way(" or ".join(_short(one) for one in _joined(reads)), then_words, sure)

    def end(self, node: Node, chance: float = 1.0) -> tuple[str, bool]:
        """What to do where the plan stops, and whether that is sure."""
        if node.get("unsafe"):
            wanted = listed([self.part(str(p)) for p in node["stop"]])
            return f"{node['unsafe']}; order {wanted}", True
        if node.get("fit_order"):
            order = [self.part(str(one)) for one in node["fit_order"]]
            return "fit one by one until cured: " + ", then ".join(order), True
        if node.get("give_up"):
            return "stop here: say what was found, and send it on", True
        parts = [str(one) for one in node.get("stop", ())]
        last = f"order {listed([self.part(one) for one in parts])}" if parts else NOTHING
        if node.get("proven", True):
            return last, True
        again = "once more; if it stays: " if chance < _SELDOM else ""
        if node.get("tail"):
            asked = [f"{self.letter[str(one['test'])]} {_short(one['words'])}: "
                     f"{self.called(one['parts'])}" for one in node["tail"]]  # fmt: skip
            said = f"else {self.called(node['else'])}"
            return f"{again}{'; '.join([*asked, said])}", False
        if again and node.get("left"):
            return f"{again}{self.called(parts)}", False
        if node.get("belief", 0.0) >= _SURE:
            return f"{last if parts else self.called(())} (not proven)", False
        left = [f"{self.called(one['parts'])} {100 * one['belief']:.0f} %"
                for one in node.get("left", ())]  # fmt: skip
        return f"left: {', '.join(left)}" if left else f"{last} (not proven)", False

    def called(self, parts: Sequence[str]) -> str:
        words = {p.id: p.words for p in self.machine.parts}
        return listed([words.get(one, one) for one in parts]) if parts else "nothing listed"

    def part(self, id: str) -> str:
        part = next((p for p in self.machine.parts if p.id == id), None)
        if part is None:
            return id
        several = {n.number for n in part.numbers}
        if len(several) == 1:
            return f"{part.words} {several.pop()}"
        return part.words


def _letters(count: int) -> Iterator[str]:
    one = string.ascii_lowercase
    more = [a + b for a in one for b in one]
    yield from [*one, *more][:count]


def _nearest_first(root: Node) -> dict[str, Node]:
    """The steps by what follows from them, each once."""
    found: dict[str, Node] = {}
    waiting = [root]
    for node in waiting:
        if "do" in node and (key := _key(node)) not in found:
            found[key] = node
            waiting += [child for _, child, _ in _ways(node)]
    return found


def _ways(node: Node) -> Iterator[tuple[str, Node, float]]:
    """(what is read, what follows, its chance; 1 if the plan does not tell)"""
    then = node.get("then", {})
    if isinstance(then, Mapping):
        yield from ((str(words), child, 1.0) for words, child in then.items())
    else:
        yield from ((str(one["words"]), one["next"], one.get("chance", 1.0)) for one in then)


def _joined(reads: list[str]) -> list[str]:
    """Stretches that touch, as one: "below 8 ohm", "8 ohm to 15 ohm" -> "below 15 ohm"."""
    done: list[str] = []
    for read in reads:
        last = _stretch(done[-1]) if done else None
        here = _stretch(read)
        if last and here and last[1] and last[1] == here[0]:
            low, high = last[0], here[1]
            up = f"{low} to {high}" if high else f"above {low}"
            done[-1] = up if low else f"below {high}" if high else "a number"
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


def _short(read: str) -> str:
    """ "46 V to 52 V" as "46 to 52 V"."""
    if read.startswith("not "):
        return f"not {_short(read[4:])}"
    low, to, high = read.partition(" to ")
    (number, _, unit), (_, _, other) = low.partition(" "), high.partition(" ")
    return f"{number} to {high}" if to and unit and unit == other else read


def _key(node: Node) -> str:
    """The same for two places from which everything goes on alike."""
    return json.dumps(_bare(node), sort_keys=True, default=str)


def _bare(node: Node) -> Any:
    if "do" in node:
        return [node["do"].get("id"), [[words, _bare(child)] for words, child, _ in _ways(node)]]
    dull = ("chance", "words", "numbers")
    return {key: value for key, value in node.items() if key not in dull}
