"""`knowngood machine audit`: what the tests of a file tell, which decide, how long it takes."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator, Mapping

from knowngood.diagnosis.audit import Audit, audit
from knowngood.places.library import find_machine
from knowngood.places.record import Refused


def audit_file(file: str, before: str | None = None, json_out: bool = False) -> int:
    """Print the audit of a machine file or a shipped machine; 0, or 2 with every problem.

    ``before``: an earlier file, whose minutes stand beside those of this one.
    """
    try:
        machine = find_machine(file).it
        old = None if before is None else find_machine(before).it
    except Refused as refused:
        print(refused, file=sys.stderr)
        return 2
    found = audit(machine)
    earlier = None if old is None else audit(old)
    if json_out:
        print(json.dumps(_plain(file, found, earlier), ensure_ascii=False))
    else:
        asks = {t.id: t.question.rstrip("?") for t in machine.tests}
        print("\n".join(_lines(file, found, earlier, asks)))
    return 0


def _plain(file: str, found: Audit, earlier: Audit | None) -> dict[str, object]:
    was = {} if earlier is None else {c.id: round(c.minutes, 1) for c in earlier.complaints}
    return {
        "file": file,
        "untold": [{"first": u.first, "second": u.second, "nearest": u.nearest, "add": u.kind}
                   for u in found.untold],
        "idle": [{"test": id, "why": why} for id, why in found.idle],
        "kept_for_safety": list(found.safety),
        "complaints": [{"id": c.id, "share": round(c.share, 4), "minutes": round(c.minutes, 1),
                        "steps": round(c.steps, 1), "before": was.get(c.id)}
                       for c in found.complaints],
        "minutes": round(found.minutes, 1),
        "before": None if earlier is None else round(earlier.minutes, 1),
    }  # fmt: skip


def _lines(
    file: str, found: Audit, earlier: Audit | None, asks: Mapping[str, str]
) -> Iterator[str]:
    for u in found.untold:
        near = f" ({u.nearest} comes nearest)" if u.nearest else ""
        yield f"no test tells {u.first} from {u.second}{near}. Add: {u.kind}"
    if not found.untold:
        yield "Every two faults in different parts are told apart by some test."
    for why in dict.fromkeys(why for _, why in found.idle):
        these = "; ".join(asks[id] for id, its in found.idle if its == why)
        yield f"Never change a decision ({why}): {these}"
    if found.safety:
        these = "; ".join(asks[id] for id in found.safety)
        yield f"Tell no part, kept for safety (they come before other steps): {these}"
    was = {} if earlier is None else {c.id: c.minutes for c in earlier.complaints}
    yield "Minutes to proof, by complaint:"
    wide = max(len(c.id) for c in found.complaints)
    for c in found.complaints:
        yield (f"  {c.id:{wide}}  {c.share:4.0%} of jobs  {c.minutes:5.1f} min"
               f"  {c.steps:4.1f} steps" + _beside(was.get(c.id), earlier))
    before = None if earlier is None else earlier.minutes
    yield f"{file}: {found.minutes:.1f} minutes on average" + _beside(before, earlier)


def _beside(minutes: float | None, earlier: Audit | None) -> str:
    if earlier is None:
        return ""
    return "  (new)" if minutes is None else f"  (before: {minutes:.1f})"
