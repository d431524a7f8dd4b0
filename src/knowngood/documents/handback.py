"""What the papers say of the new part, of the removed one, and of who let a machine go."""

from __future__ import annotations

from knowngood.documents.document import Fact
from knowngood.documents.wording import day_of, sentence
from knowngood.job.job import Job
from knowngood.job.things import Decision


def override_lines(job: Job) -> tuple[str, ...]:
    """One sentence for each time somebody let the machine go in spite of a check."""
    return tuple(
        sentence(
            f"Let go although held ({'; '.join(event.words or event.checks)}) by {event.by}, "
            f"{day_of(at)}: {event.reason}"
        )
        for event, at in job.counter.overrides
    )


def part_facts(job: Job, decision: Decision) -> tuple[Fact, ...]:
    """How the new part was looked at before it went in, and where the removed one is."""
    found = []
    seen = job.apart.in_hand.get(decision.part)
    if seen is not None:
        event, at = seen
        said = [f"{event.verdict} part by {at.by}", event.number, event.chain, event.reason]
        if min(event.old_plugs, event.new_plugs) >= 0:
            said.append(f"plugs {event.old_plugs:g} on the old, {event.new_plugs:g} on the new")
        found.append(Fact("New part in hand", "; ".join(one for one in said if one)))
    tag = job.apart.tagged.get(decision.part)
    if tag is not None:
        said = [tag.tag, tag.where, f"on the bench: {tag.tested}" if tag.tested else ""]
        found.append(Fact("Removed part", "; ".join(one for one in said if one)))
    return tuple(found)
