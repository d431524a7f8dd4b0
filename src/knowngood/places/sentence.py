"""The proof in a few words that a stranger understands."""

from __future__ import annotations

from collections.abc import Sequence

from knowngood.diagnosis.assess import Setup
from knowngood.diagnosis.views import Assessment, Judged
from knowngood.isolate.belief import Weighed
from knowngood.isolate.proof import outside
from knowngood.machines.forecast_text import expected_words
from knowngood.machines.machine import Machine, Test
from knowngood.measure.meter import MeterSheet
from knowngood.places.complaints import good_answer

LIKELY_SLIP = 0.5
SHOWN_OUT = 0.01
MOST_NAMED = 3
BAD_TOO = 0.5  # belief in a further part, beside those that are proven, at which it is named


def proof_sentence(setup: Setup, assessment: Assessment) -> str:
    """Why it is this part: what it reads where a good one reads otherwise, then what shows the
    others good. Short enough to be read at a glance; the readings themselves stand elsewhere.

    "" when nothing is proven.
    """
    proof = assessment.proof
    if not proof.proven:
        return ""
    machine = setup.machine
    part = lower_first(parts_words(machine, proof.parts))
    bad = f"The {part} {'is' if len(proof.parts) == 1 else 'are'} bad"
    judged = {j.test: j for j in assessment.readings}
    key = _key(assessment, judged)
    others = [judged[t] for t in proof.tests if t in judged and (key is None or t != key.test)]
    rest = _list([f"{_short(j.question)} ({_figure(j.reads)})" for j in others])
    shown = "; ".join(x for x in (rest, _accepted(machine, assessment)) if x)
    more = _bad_too(machine, assessment)
    if key is None:
        by = f": {shown}" if shown else ""
        return f"{bad}: everything else on the list is shown good{by}.{more}"
    said = _said(_test(machine, key.test), judged[key.test], setup.bench.meter)
    if not shown:
        return f"{bad}: {said}. No other listed fault makes it do so.{more}"
    return f"{bad}: {said}. What else could make it so is shown out: {shown}.{more}"


def _bad_too(machine: Machine, assessment: Assessment) -> str:
    """What else is bad with it, most believed first: a part of those proven alone would not hold
    then. "" where nothing is."""
    parts, beside = assessment.proof.parts, dict[str, float]()
    for found, p in assessment.belief.of_parts().items():
        if parts < found:
            for one in found - parts:
                beside[one] = beside.get(one, 0.0) + p
    named = sorted((one for one in beside if beside[one] >= BAD_TOO), key=lambda x: -beside[x])
    said = [
        f"the {lower_first(parts_words(machine, [one]))} is bad as well ({beside[one]:.0%})"
        for one in named
    ]
    if not said:
        return ""
    alone = lower_first(parts_words(machine, parts))
    return f" Mind: {_list(said)}; a new {alone} alone may not mend it, or fail again."


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


def _said(test: Test, judged: Judged, meter: MeterSheet | None) -> str:
    """ "start box end to end reads OL where a good one reads at most 0.8 ohm"."""
    question = _short(test.question)
    if test.quantity == "yes_no":
        return f"{question}? {judged.reads.capitalize()}, where a good one says {good_answer(test)}"
    good = _unsourced(judged.limits) or expected_words(
        test.good, test.quantity, meter
    )
    figure = _figure(judged.reads)
    verb = "" if figure.startswith("jumps") else "reads "
    comma = "," if "," in question else ""
    return f"{question}{comma} {verb}{figure} where a good one reads {good}"


def _short(question: str) -> str:
    return lower_first(question).rstrip("?")


def _figure(reads: str) -> str:
    """The reading without its doubt, which stands beside it in the table of readings."""
    return reads.split(" ±")[0]


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


def upper_first(text: str) -> str:
    """The first letter large."""
    return text[:1].upper() + text[1:]


def lower_first(text: str) -> str:
    """The first letter small, unless the word is written large ("OL", "DC volts")."""
    return text[:1].lower() + text[1:] if len(text) < 2 or not text[1].isupper() else text
