"""The proof in one sentence that a stranger understands."""

from __future__ import annotations

from collections.abc import Sequence

from knowngood.diagnosis.assess import Setup
from knowngood.diagnosis.views import Assessment, Judged
from knowngood.isolate.belief import Weighed
from knowngood.isolate.proof import outside
from knowngood.machines.machine import Machine, Test

LIKELY_SLIP = 0.5
SHOWN_OUT = 0.01
MOST_NAMED = 3


def proof_sentence(setup: Setup, assessment: Assessment) -> str:
    """Why it is this part: the reading that only it explains, or all else shown good.

    "" when nothing is proven.
    """
    proof = assessment.proof
    if not proof.proven:
        return ""
    machine = setup.machine
    part = lower_first(parts_words(machine, proof.parts))
    judged = {j.test: j for j in assessment.readings}
    key = _key(assessment, judged)
    others = [judged[t] for t in proof.tests if t in judged and (key is None or t != key.test)]
    words = [a.words for a in assessment.belief.accounts if a.grade == "accepted"]
    rest = _list([f"{j.question} ({j.reads})" for j in others])
    accepted = _accepted(machine, assessment)
    if key is None:
        shown = " and ".join(x for x in (rest and f"by {rest}", accepted) if x)
        how = f" {shown}" if shown else ""
        return f"Everything else on the list is shown good{how}, so it is the {part}."
    test = _test(machine, key.test)
    said = _said(setup, test, judged[key.test])
    cannot = "would not do that" if test.quantity == "yes_no" else "cannot read that"
    if not others and not words:
        return f"{said}: a good {part} {cannot}, and no other listed fault would make it do so."
    by = f" by {rest}" if rest else ""
    by += f"; {accepted}" if accepted else ""
    return f"{said}: a good {part} {cannot}, and every other fault that could is shown out{by}."


def parts_words(machine: Machine, parts: Sequence[str] | frozenset[str]) -> str:
    """The parts in words, the order of the file: "controller and main fuse"."""
    return " and ".join(p.words for p in machine.parts if p.id in parts) or "no listed part"


def _key(assessment: Assessment, judged: dict[str, Judged]) -> Weighed | None:
    """The reading that speaks loudest for the part: not good, explained by it, and the one that
    shows most belief elsewhere out."""
    belief, parts = assessment.belief, assessment.proof.parts
    best: tuple[float, Weighed] | None = None
    for w in belief.weighed:
        mine = [i for i, h in enumerate(belief.hypotheses) if h.parts == parts]
        explained = any(w.extreme[i] > SHOWN_OUT for i in mine)
        if w.slip > LIKELY_SLIP or judged[w.test].verdict != "bad" or not explained:
            continue
        out = sum(
            h.weight
            for i, h in enumerate(belief.hypotheses)
            if outside(h, parts) and w.extreme[i] <= SHOWN_OUT
        )
        if best is None or out > best[0]:
            best = (out, w)
    return best[1] if best is not None else None


def _said(setup: Setup, test: Test, judged: Judged) -> str:
    """ "With the pack out, the start box end to end reads OL (6000-count meter, good is ...)"."""
    condition = next(c for c in setup.machine.conditions if c.id == test.condition)
    meter = setup.bench.meter
    told = [meter.title] if meter is not None and test.quantity != "yes_no" else []
    told += [f"good is {_unsourced(judged.limits)}"] if judged.limits else []
    points = f" between {test.red} and {test.black}" if test.red and test.black else ""
    more = f" ({', '.join(told)})" if told else ""
    text = f"With {lower_first(condition.words)}" if condition.words else "As it stands"
    question = lower_first(test.question).rstrip("?")
    if test.quantity == "yes_no":
        return f"{text}, {question}? {judged.reads.capitalize()}{more}"
    question += "," if "," in question else ""
    verb = "" if judged.reads.startswith("jumps") else "reads "
    return f"{text}, {question} {verb}{judged.reads}{points}{more}"


def _unsourced(limits: str) -> str:
    """The limits without where they come from."""
    return limits.split(" (")[0]


def _accepted(machine: Machine, assessment: Assessment) -> str:
    """ "the pack is accepted as good by Ana"."""
    words = {p.id: lower_first(p.words) for p in machine.parts}
    said = [
        f"the {words.get(a.part or '', a.part)} is {a.words}"
        for a in assessment.belief.accounts
        if a.grade == "accepted"
    ]
    return _list(said)


def _list(words: Sequence[str]) -> str:
    if len(words) > MOST_NAMED:
        return f"{', '.join(words[:MOST_NAMED])} and {len(words) - MOST_NAMED} more"
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)


def _test(machine: Machine, id: str) -> Test:
    return next(t for t in machine.tests if t.id == id)


def lower_first(text: str) -> str:
    """The first letter small, unless the word is written large ("OL", "DC volts")."""
    return text[:1].lower() + text[1:] if len(text) < 2 or not text[1].isupper() else text
