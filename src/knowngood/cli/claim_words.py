"""``knowngood paper words``: what the claim says of complaint, cause and correction."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from knowngood.cli.paperwork import on_job, say_set_aside
from knowngood.job.paperwork import ClaimWorded
from knowngood.places.claim_words import take_again, word_claim, words_now
from knowngood.places.gather import load_job
from knowngood.places.record import At, Record


def claim_words(
    job: str, words: ClaimWorded, as_recorded: bool, store: Path | None, by: str,
    again: bool = False,
) -> int:  # fmt: skip
    """Print the three, worded anew where something is given; what is not given stays."""

    def work(record: Record, at: At, job_id: str) -> None:
        now = load_job(record, job_id)
        if again:
            take_again(record, job_id, at)
        elif as_recorded:
            word_claim(record, job_id, ClaimWorded(), at)
        elif words != ClaimWorded():
            before = now.paperwork.worded[0] if now.paperwork.worded else ClaimWorded()
            given = {k: v for k in ("complaint", "cause", "correction") if (v := getattr(words, k))}
            word_claim(record, job_id, replace(before, **given), at)
        found = words_now(record, load_job(record, job_id))
        print(f"Complaint: {found.complaint}\nCause: {found.cause}\nCorrection: "
              f"{found.correction}")  # fmt: skip
        say_set_aside(load_job(record, job_id))

    return on_job(job, store, by, work)
