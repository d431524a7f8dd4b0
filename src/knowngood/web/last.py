"""What was said last on a job, and the entry that takes it back."""

from __future__ import annotations

from typing import Any

from knowngood.job.job import Job
from knowngood.job.waiting import CAPACITOR


def last_said(job: Job) -> dict[str, Any] | None:
    """`words` of it, with `kind` and `body` of the entry that undoes it; None if there is none."""
    found: list[tuple[int, str, str, dict[str, str]]] = [
        (r.taken.seq, f"{r.question} {r.text}", "ReadingWithdrawn",
         {"reading_id": r.id, "reason": "undone"})
        for r in job.live_readings
    ]  # fmt: skip
    found += [(t.at.seq, t.words, "ToldWithdrawn", {"told_id": t.id}) for t in job.told]
    found += [
        (a.at.seq, f"{a.words} accepted", "AcceptWithdrawn", {"part": a.part}) for a in job.accepted
    ]
    found += [
        (c.at.seq, f"{c.words} called", "CallWithdrawn", {"part": c.part}) for c in job.called
    ]
    found += [
        (s.opened.seq, s.where, "StepClosed", {"step": s.step})
        for s in job.open_steps if s.where.startswith(CAPACITOR)
    ]
    if job.decision is not None:
        words = f"the decision for {job.decision.words}"
        found.append((job.decision.at.seq, words, "DecisionWithdrawn", {"reason": "undone"}))
    if not found:
        return None
    _, words, kind, body = max(found, key=lambda f: f[0])
    return {"words": words, "kind": kind, "body": body}
