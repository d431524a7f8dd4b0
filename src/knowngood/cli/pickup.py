"""``knowngood job pickup``: the customer fetches the machine, with the receipt as PDF."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from knowngood.cli.paperwork import on_job
from knowngood.documents.slip import claim_check_pdf
from knowngood.places.gather import load_job
from knowngood.places.pickup import fetched, pickup_lines
from knowngood.places.premises import letterhead
from knowngood.places.record import At, Record, Refused
from knowngood.places.slips import claim_check_of
from knowngood.store.problem import not_written


def pickup(
    job: str, to: str, stays: Sequence[str], anyway: str, out: Path | None,
    store: Path | None, by: str,
) -> int:  # fmt: skip
    """Hand it back to `to`, or say how it stands; with `out` the receipt. Exit code."""

    def work(record: Record, at: At, job_id: str) -> None:
        if (stays or anyway) and not to:
            raise Refused("who took it? --to NAME")
        if to:
            try:
                fetched(record, job_id, to, stays, at, anyway)
            except Refused as problem:
                way = " (--anyway REASON --by NAME)" if "override" in str(problem) else ""
                raise Refused(f"{problem}{way}") from problem
        it = load_job(record, job_id)
        for line in pickup_lines(record, it):
            print(line[:1].upper() + line[1:])
        if it.counter.handed is None and it.closed is not None:
            print(f"It is fetched: knowngood job pickup {it.name} --to NAME --out receipt.pdf")
        if out is not None:
            if it.counter.handed is None:
                raise Refused("the receipt comes once it is handed back: --to NAME")
            data = claim_check_pdf(claim_check_of(record, it), letterhead(record), at.now)
            try:
                out.write_bytes(data)
            except OSError as error:
                raise Refused(not_written(out, error)) from error
            print(f"written: {out}")

    return on_job(job, store, by, work)
