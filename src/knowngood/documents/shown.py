"""What was said at the bench, as words of a paper. Reads the record; works nothing out again."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from knowngood.diagnosis.sentences import reads
from knowngood.job.job import Job
from knowngood.job.things import Decision, JobReading
from knowngood.machines.machine import Machine
from knowngood.measure.reading import PASSED_OVER
from knowngood.shop.supersession import same_number

_VERDICTS = {
    "bad": "not good",
    "good": "good",
    "can't tell": "too close to tell",
    "no evidence": "no evidence",
    "": "not judged",
}


@dataclass(frozen=True, slots=True)
class AlsoPart:
    """A part to order beside the causal one: its failure took it along."""

    part: str
    words: str
    number: str


def reading_words(reading: JobReading) -> str:
    """The reading with its uncertainty, as it was shown; what was typed if it is no reading."""
    shown = reading.shown.get("reads")
    if isinstance(shown, str) and shown:
        return shown
    try:
        words = reads(reading.value())
    except (KeyError, TypeError, ValueError):
        return reading.text
    return f"“{reading.text}”" if words == "no evidence" else words


def against(reading: JobReading) -> str:
    """What a good one reads, with the source, as it was shown; "" where that was not kept."""
    for key in ("limits", "good"):
        said = reading.shown.get(key)
        if isinstance(said, str) and said:
            return said
    return ""


def adds_something(reading: JobReading) -> bool:
    """Whether the sentence shown says more than question, reading and verdict."""
    said = reading.sentence.casefold()
    for known in (reading.question, reading_words(reading), *_VERDICTS.values()):
        said = said.replace(known.casefold(), "") if known else said
    return any(sign.isalnum() for sign in said)


def is_evidence(reading: JobReading) -> bool:
    """Whether something was read: what was passed over or could not be read shows nothing."""
    return reading.reading.get("kind") != "none"


def not_understood(reading: JobReading) -> bool:
    """Whether what was typed could not be read as an answer: the program said so at the bench, and
    it is no part of what a paper shows. What was passed over on purpose is none of these, nor what
    is read in parts and not yet whole."""
    note = str(reading.reading.get("note", ""))
    return not is_evidence(reading) and note not in PASSED_OVER and "still to read" not in note


def clears(reading: JobReading) -> list[str]:
    """The parts that this reading alone was said to clear, in words."""
    said = reading.shown.get("clears")
    return [str(one) for one in said] if isinstance(said, list | tuple) else []


def verdict_words(reading: JobReading) -> str:
    return _VERDICTS.get(reading.verdict, reading.verdict)


def measured_with(reading: JobReading) -> str:
    """Meter and range: "generic-6000, range 60 V"; "" when none was used."""
    meter, span = reading.reading.get("meter"), reading.reading.get("range_name")
    if not meter:
        return ""
    return f"{meter}, range {span}" if span else str(meter)


def state(reading: JobReading, machine: Machine) -> str:
    """The state of the machine and its teardown for this reading, in the condition's own words; the
    circumstance, where it has none."""
    words = next((c.words for c in machine.conditions if c.id == reading.condition), "")
    if words or reading.circumstance in ("", "rest"):
        return words or reading.condition
    return "; ".join(filter(None, (reading.condition, reading.circumstance)))


def proof_readings(job: Job, decision: Decision) -> list[JobReading]:
    """The readings that the decision rests on and that still stand, most telling first."""
    named = decision.proof.get("readings")
    if isinstance(named, list | tuple):
        found = [job.reading(str(one)) for one in named]
        return [one for one in found if one is not None and one.live and is_evidence(one)]
    return [r for r in job.live_readings if decision.at.knew(r.taken) and is_evidence(r)]


def decided_words(decision: Decision) -> str:
    return decision.words or decision.part


def failure_mode(decision: Decision, machine: Machine) -> str:
    """As recorded; else that of the faults which this part cures and no reading was said to show
    out; "" when more than three are left, or none."""
    recorded = decision.proof.get("mode")
    if isinstance(recorded, str) and recorded:
        return recorded
    out = {suspect for suspect, _, _ in other_explanations(decision)}
    cured = [fault for fault in machine.faults if fault.parts == (decision.part,)]
    left = [fault for fault in cured if fault.words not in out]
    if not 1 <= len(left) <= 3:
        return ""
    return " or ".join(f"{fault.mode} ({fault.words})" for fault in left)


def also(decision: Decision) -> list[AlsoPart]:
    """The consequential parts, as recorded."""
    found = []
    for one in _mappings(decision.proof.get("also")):
        part = str(one.get("part", ""))
        words, number = str(one.get("words") or part), str(one.get("number") or "")
        found.append(AlsoPart(part, words, number))
    return found


@dataclass(frozen=True, slots=True)
class FittedNumber:
    """The number of the part that went in, or will; `listed`: the one it was decided by where that
    is another, as an older one is that a list replaced, else ""."""

    number: str
    listed: str = ""

    @property
    def words(self) -> str:
        """ "BW-1322B in place of BW-1322"; "" where nobody has read it."""
        return f"{self.number} in place of {self.listed}" if self.listed else self.number


def fitted_number(job: Job, part: str, number: str) -> FittedNumber:
    """What was read on the new part in hand, else under which it lay in stock, else what it was
    ordered as, else the `number` that it was decided by."""
    order, seen = job.shelf.orders.get(part), job.apart.in_hand.get(part)
    known = [seen[0].number] if seen is not None and seen[0].verdict == "right" else []
    known += [order.came_as, order.number] if order is not None else []
    found = next((one for one in known if one.strip()), number)
    if same_number(found) == same_number(number):
        return FittedNumber(number)
    return FittedNumber(found, number)


def parts_standing(decision: Decision, standing: str) -> list[str]:
    """The parts that stood like this ("known good") when it was decided, in words."""
    parts = decision.proof.get("parts")
    if not isinstance(parts, Mapping):
        return []
    return [
        str(one.get("words") or id)
        for id, one in parts.items()
        if isinstance(one, Mapping) and one.get("standing") == standing
    ]


def other_explanations(decision: Decision) -> list[tuple[str, str, float | None]]:
    """What else was on the list: in words, what shows it out, and how often a reading at least so
    far off would come up under it."""
    found = []
    for one in _mappings(decision.proof.get("shown_out")):
        chance = one.get("chance")
        found.append(
            (
                str(one.get("suspect", "")),
                str(one.get("by", "")),
                float(chance) if isinstance(chance, int | float) else None,
            )
        )
    return found


def _mappings(value: object) -> Iterator[Mapping[str, Any]]:
    if isinstance(value, list | tuple):
        yield from (one for one in value if isinstance(one, Mapping))
