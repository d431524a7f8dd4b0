"""The rebuild: the teardown reversed by its dependencies, one line a step.

What rests on a step goes back before it. The source of energy goes in last. Where a capacitor was
waited for, it is measured again before anything else, and once more before its cover closes.
Before the first cover closes every control is proven with the source out, the plugs together that
its proof reads through; before each cover a look for pinched wires. What made the part fail
is cleared, and the part in hand looked at, before it goes in; the old one is tagged, and tested
where it can be. All of this is common practice.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Final, Literal

from knowngood.machines.machine import Condition, Machine, Test
from knowngood.shop.off import Off, all_needs, fasteners_words
from knowngood.shop.read_through import between, steps_that_part

Kind = Literal[
    "discharge", "cause", "part", "tag", "fit", "prove", "pinch", "back", "count", "direction"
]

CONTROLS: Final = (
    "Work every control with the source out: ohms at its plug where it is apart, a sweep for a "
    "trigger or lever; each opens and closes clean"
)
PINCH: Final = (
    "Look along the whole joint: every wire in its rib, none pinched; slack stowed and tied clear "
    "of what turns"
)
DIRECTION: Final = "Direction of rotation: a short run, nobody near; it turns as the arrow says"
STUTTER: Final = (
    "Guards on and the checks with the source out made first. Two leads swapped: it stutters or "
    "runs backwards. Source out before they move."
)
TAG: Final = "The old one: tagged with its job, and tested on the bench where it can be"
AGAIN: Final = "Before hands go in, again: "
SHUT: Final = "Before the cover closes, once more: "
_CONTROL: Final = re.compile(r"\b(switch|trigger|key|bail|throttle|lever|pedal|start box)\b", re.I)
_NO_CONTROL: Final = re.compile(r"\b(harness|wiring|cable|setting|flywheel)\b", re.I)
_OPENING: Final = re.compile(
    r"^(key and pack|key|pack|plug lead|lead|battery negative) (out|off)( first)?"
    r"(,? (both|and) kept by you|,? and capacitor measured|, capacitor measured)?"
    r"(?![a-z ])| while the last bolt comes out", re.I
)  # fmt: skip
BENCH_TESTS: Final = 3
"""Questions that are told for one removed part."""


@dataclass(frozen=True, slots=True)
class PartToFit:
    """The part that goes in; ``needs``: steps that must be off to fit it; ``tests``: what the old
    one can be asked on the bench."""

    id: str
    words: str
    number: str = ""
    needs: tuple[str, ...] = ()
    tests: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class CauseToClear:
    """A root cause: ``ask`` while nobody answered, else ``mend`` for one that was found."""

    id: str
    words: str
    ask: str
    mend: str
    found: bool = False
    caution: str = ""


@dataclass(frozen=True, slots=True)
class ControlProof:
    """A dead test that proves ``controls``. ``opens``: steps that must be off for it; ``state``
    of the controls while it is read; ``worked``: left out where its controls have another proof;
    ``reads``: a reading as it should be typed, "" where a word is enough; ``through``:
    steps that must be back for it, since they part a plug that it reads through."""

    id: str
    words: str
    question: str
    good: str = ""
    opens: tuple[str, ...] = ()
    caution: str = ""
    state: str = ""
    controls: tuple[str, ...] = ()
    worked: bool = False
    reads: str = ""
    through: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the rebuild. ``id`` stays the same while the job does not change; ``about``
    names the step, part, cause or test. ``hints``: traps and what was noted; ``count``:
    fasteners that go in; ``reads``: a reading as it is typed, where one is needed; ``source``: with
    this step the source of energy is in again; ``cover``: it closes over wires."""

    id: str
    kind: Kind
    about: str
    words: str
    hints: tuple[str, ...] = ()
    caution: str = ""
    fasteners: str = ""
    count: int = 0
    where: str = ""
    minutes: float = 0.0
    inside: tuple[str, ...] = ()
    reads: str = ""
    source: bool = False
    cover: bool = False

    @property
    def closes(self) -> bool:
        """Not to be done over a proof that is not good."""
        return self.source or self.cover


def rebuild_order(
    off: Sequence[Off], proofs: Sequence[ControlProof] = ()
) -> tuple[Off, ...]:
    """Steps in the order in which they go back, from the order in which they came off.

    Backwards, but what rests on a step always before it, and the source of energy after
    everything that it does not itself rest on. A plug that one of the ``proofs`` reads through goes
    back while what that proof needs open is still off. A ring of needs, which no machine has, is
    cut at the step that came off last.
    """
    left = list(off)
    needs = {one.id: one.needs for one in off}
    sources = [one.id for one in off if one.role == "source out"]
    under = all_needs(needs, sources)
    plugs = _plugs_first(off, proofs)
    order: list[Off] = []
    while left:
        needed = {need for one in left for need in one.needs if need != one.id}
        free = [one for one in left if one.id not in needed] or left
        waits = any(one.id not in under for one in left)
        ready = [one for one in free if not (waits and one.id in under)] or free
        there = {one.id for one in left}
        ready = [one for one in ready if not plugs.get(one.id, frozenset()) & there] or ready
        order.append(ready[-1])
        left.remove(ready[-1])
    return tuple(order)


def _parted(off: Sequence[Off], proof: ControlProof) -> frozenset[str]:
    """Plugs that are off and must be together for this proof."""
    return frozenset(one.id for one in off if one.id in proof.through)


def _plugs_first(
    off: Sequence[Off], proofs: Sequence[ControlProof]
) -> dict[str, frozenset[str]]:
    """By step: plugs, with what is inside them, that should be back before it."""
    needs = {one.id: one.needs for one in off}
    waits: dict[str, frozenset[str]] = {}
    for proof in proofs:
        if not all(step in needs for step in proof.opens):
            continue
        for plug in _parted(off, proof):
            first = {one.id for one in off if plug in all_needs(needs, [one.id])}
            for step in all_needs(needs, proof.opens) - all_needs(needs, first):
                waits[step] = waits.get(step, frozenset()) | first
    return waits


def rebuild_lines(
    off: Sequence[Off],
    parts: Sequence[PartToFit] = (),
    causes: Sequence[CauseToClear] = (),
    proofs: Sequence[ControlProof] = (),
) -> tuple[Line, ...]:
    """The whole rebuild. ``proofs`` that need more open than is off are left out; where a cover
    closes, one line asks for the controls that no proof is left for."""
    order = rebuild_order(off, proofs)
    before: dict[int, list[Line]] = {}
    for part in parts:
        fit = Line(f"fit:{part.id}", "fit", part.id, f"Fit {part.words}")
        old = Line(f"tag:{part.id}", "tag", part.id, f"{TAG}: {part.words}", part.tests)
        before.setdefault(_fits_before(order, part), []).extend((old, fit))
    for place, proving in _controls(order, proofs):
        before.setdefault(place, []).extend(proving)
    covers = [n for n, one in enumerate(order) if one.is_cover]
    for wait in (one for one in order if one.nothing_to_shut):
        over = [n for n in covers if order[n].id in all_needs({o.id: o.needs for o in order},
                                                              wait.needs)]  # fmt: skip
        if over:
            before.setdefault(over[0], []).append(_discharge(wait, "again", SHUT))
    lines = [_discharge(one) for one in order if one.nothing_to_shut]
    lines += [*(_cause(c) for c in causes), *(_in_hand(p) for p in parts)]
    for place, one in enumerate(order):
        lines += [*before.get(place, ()), *_around(one, order)]
    lines += before.get(len(order), ())
    if count := sum(one.count for one in order):
        words = "Fasteners: every one back in, none left over, none missing"
        lines.append(Line("count", "count", "", words, count=count))
    moved = tuple(f"moved: {one.words}" for one in order if one.leads)
    if moved:
        lines.append(Line("direction", "direction", "", DIRECTION, moved, STUTTER))
    return tuple(lines)


def _discharge(one: Off, id: str = "discharge", when: str = AGAIN) -> Line:
    words = f"{when}{one.words[:1].lower()}{one.words[1:]}"
    return Line(f"{id}:{one.id}", "discharge", one.id, words, one.traps, one.caution,
                reads="12 mV")  # fmt: skip


def _cause(cause: CauseToClear) -> Line:
    words = cause.mend if cause.found else cause.ask
    hints = (f"found: {cause.words}",) if cause.found else ()
    return Line(f"cause:{cause.id}", "cause", cause.id, words, hints, cause.caution)


def _in_hand(part: PartToFit) -> Line:
    words = f"The part in hand: is it the one for this job? {part.words}"
    number = (f"ordered: {part.number}",) if part.number else ()
    return Line(f"part:{part.id}", "part", part.id, words, number)


def _around(one: Off, order: Sequence[Off]) -> Iterator[Line]:
    """The step itself, with the look that comes before a cover closes."""
    if one.nothing_to_shut:
        return
    if one.is_cover:
        yield Line(f"pinch:{one.id}", "pinch", one.id, PINCH, (f"before: {one.words}",))
    inside = tuple(o.id for o in order if one.id in o.needs and not o.nothing_to_shut)
    safe = any(o.role == "source out" for o in order)
    yield Line(
        f"back:{one.id}", "back", one.id, one.goes_back, (*one.traps, *one.notes),
        while_closing(one.caution) if safe else one.caution, fasteners_words(one.fasteners),
        one.count, one.where, one.back_minutes, inside, source=one.role == "source out",
        cover=one.is_cover,
    )  # fmt: skip


def while_closing(caution: str) -> str:
    """What of a step's caution still counts when it goes back with the source out: "Pack out
    before the first screw." is for the opening."""
    kept = []
    for clause in re.split(r"[.;]\s*", caution):
        left = _OPENING.sub("", clause) if "before the first screw" not in clause else ""
        left = left.replace(" before anything else", "").strip(" ,-")
        if left and left.casefold() not in ("before anything else", "every time"):
            kept.append(left)
    joined = "; ".join(kept)
    return f"{joined[:1].upper()}{joined[1:]}." if joined else ""


def _controls(
    order: Sequence[Off], proofs: Sequence[ControlProof]
) -> Iterator[tuple[int, list[Line]]]:
    """Where in the order each control is proven: as late as the machine is still open for it and
    its source of energy out."""
    sources = [n for n, one in enumerate(order) if one.role == "source out"]
    shells = [n for n, one in enumerate(order) if one.is_cover]
    left = dict.fromkeys(control for proof in proofs for control in proof.controls)
    place_of = {one.id: n for n, one in enumerate(order)}
    needs = {one.id: one.needs for one in order}
    found: dict[int, list[Line]] = {}
    for proof in sorted(proofs, key=lambda one: one.worked):
        if not all(step in place_of for step in proof.opens):
            continue
        if proof.worked and proof.controls and not left.keys() & set(proof.controls):
            continue
        places = [place_of[step] for step in all_needs(needs, proof.opens)]
        undone = [n for n in places if not order[n].nothing_to_shut]
        if not undone:
            continue
        good = f"good: {proof.good}" if proof.good else ""
        hints = tuple(filter(None, (proof.words, proof.state, good)))
        words = f"Prove: {proof.question}"
        line = Line(f"prove:{proof.id}", "prove", proof.id, words, hints, proof.caution,
                    reads=proof.reads)  # fmt: skip
        last = min(undone + sources)
        if any(place_of[plug] >= last for plug in _parted(order, proof)):
            continue  # a plug it reads through can't be together yet
        found.setdefault(last, []).append(line)
        for control in proof.controls:
            left.pop(control, None)
    if shells and (left or not found):
        rest = (f"not proven by another line: {', '.join(left)}",) if left else ()
        line = Line("prove:controls", "prove", "", CONTROLS, rest,
                    reads="0.4 ohm, OL released")  # fmt: skip
        found.setdefault(shells[0], []).append(line)
    yield from sorted(found.items())


def _fits_before(order: Sequence[Off], part: PartToFit) -> int:
    """The place in the order before which the part goes in: while all is off that it needs, and
    all that was taken off from there on."""
    needs = {one.id: one.needs for one in order}
    mine = all_needs(needs, part.needs)
    roots = {one.id for one in order if one.id in mine and one.role in ("", "shell")}
    for n, one in enumerate(order):
        inside = bool(all_needs(needs, [one.id]) & roots)
        if (one.id in mine or inside) and not one.nothing_to_shut:
            return n
    return next((n for n, one in enumerate(order) if one.role == "source out"), len(order))


def next_lines(lines: Iterable[Line], done: Iterable[str], most: int = 3) -> tuple[Line, ...]:
    """The first lines not done yet."""
    ticked = frozenset(done)
    return tuple([line for line in lines if line.id not in ticked][:most])


def put_back(off: Sequence[Off], step: str) -> tuple[Off, ...]:
    """What is off once ``step`` is back, with the waiting that rested on it. Raises ValueError
    naming what is still inside."""
    inside = [o for o in off if step in o.needs and not o.nothing_to_shut and o.id != step]
    if inside:
        named = ", ".join(o.words for o in rebuild_order(inside))
        raise ValueError(f"still off inside it: {named}")
    gone = {step} | {o.id for o in off if o.nothing_to_shut and step in o.needs}
    return tuple(o for o in off if o.id not in gone)


def control_proofs(machine: Machine) -> tuple[ControlProof, ...]:
    """Dead tests of the machine's file in which a person holds a control, or that ask a control
    alone, such as a key switch at its plug."""
    dead = {c.id: c for c in machine.conditions if not c.energised}
    switches = [p.id for p in machine.parts
                if _CONTROL.search(p.words) and not _NO_CONTROL.search(p.words)]  # fmt: skip
    alone = {t.id for part in switches for t in _asks_only(machine, part)}
    return tuple(
        _proof(machine, t, dead[t.condition]) for t in machine.tests
        if t.condition in dead and not t.generated and t.quantity in ("ohms", "yes_no")
        and not t.look and (dead[t.condition].held or t.id in alone)
    )  # fmt: skip


def _proof(machine: Machine, test: Test, condition: Condition) -> ControlProof:
    steps = {t.id: t.needs for t in machine.teardown}
    bares = {t.id for t in machine.teardown if t.role in ("", "shell")}
    opens = tuple(sorted(all_needs(steps, condition.open) & bares))
    worked = condition.circumstance != "rest" and test.quantity == "ohms"
    reads = "OL" if test.good_reads.startswith("OL") else "0.4 ohm"
    return ControlProof(test.id, test.words, test.question, test.good_reads, opens, test.caution,
                        condition.words, condition.held, worked,
                        reads if test.quantity == "ohms" else "",
                        tuple(sorted(steps_that_part(machine, between(machine, test).plugs))),
                        )  # fmt: skip


def bench_tests(machine: Machine, part: str) -> tuple[str, ...]:
    """Questions that the removed part can be asked on the bench, with what is good: not those that
    read through another switch in series, which is still in the machine."""
    dead = {c.id for c in machine.conditions if not c.energised}
    asks = [t for t in _asks_only(machine, part)
            if t.condition in dead and t.quantity in ("ohms", "diode", "capacitance", "volts")
            and t.grade == "measured" and len(between(machine, t).switches) < 2]  # fmt: skip
    said = (f"{t.question}: {t.good_reads}" if t.good_reads else t.question for t in asks)
    return tuple(said)[:BENCH_TESTS]


def _asks_only(machine: Machine, part: str) -> tuple[Test, ...]:
    """Tests of the file that name no fault but those of this part."""
    mine = {f.id for f in machine.faults if f.parts == (part,)}
    return tuple(t for t in machine.tests
                 if not t.generated and t.expect and mine.issuperset(t.expect))  # fmt: skip
