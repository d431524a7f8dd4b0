"""The failed part after the repair: its bench test, its tag, until when it is kept, and its end.

It is kept as the programme says, else as the shop's sheet does. A damaged lithium pack is never
kept inside: `Failed.care` says what to do instead.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

from knowngood.documents.claim import LITHIUM_CARE, is_pack
from knowngood.job import paperwork as pw
from knowngood.job.apart import PartTagged
from knowngood.job.job import Job
from knowngood.job.waiting import replaced_on
from knowngood.places.gather import load_job, machine_file_of
from knowngood.places.paperwork import new_entry, programme_of
from knowngood.places.record import At, Record, Refused
from knowngood.shop.claim_check import keep_until

ENDS: Final = (
    "scrapped", "sent to the programme", "given back to the customer",
    "handed over for disposal",
)  # fmt: skip
OUTDOORS: Final = "outdoors, in a non-combustible container"


@dataclass(frozen=True, slots=True)
class Failed:
    """`until`: the last day it is kept, None where nobody asks for it. `gone`: how it ended.
    `place`: where a tag would say it lies. `unanswered`: its claim is out and nobody has replied,
    so that it may still be asked for."""

    part: str
    words: str
    number: str
    tag: PartTagged | None
    until: date | None
    how: str
    care: tuple[str, ...]
    place: str
    gone: pw.PartLetGo | None
    unanswered: bool = False

    def may_go(self, today: date) -> bool:
        """Whether nobody asks to keep it any longer, nor may yet."""
        return not self.unanswered and (self.until is None or self.until < today)

    def kept(self, today: date) -> str:
        """How long it is kept, in a sentence; "" where nobody asks for it."""
        if self.until is None:
            return ""
        if self.may_go(today):
            return f"It may go since {self.until}."
        if self.until < today:
            return f"Keep it until its claim is answered; its own day was {self.until}."
        return f"Keep it until {self.until}: {self.how}."


def failed_part(record: Record, job: Job, today: date) -> Failed | None:
    """The part the job was decided on, as it lies there; None before a decision. The days it is
    kept run from the day it is replaced, `today` while it is not."""
    decision = job.decision
    if decision is None:
        return None
    programme = programme_of(record, job)
    replaced = replaced_on(job) or today
    until, how = None, "tagged with the number of the job"
    if programme is not None:
        until, how = keep_until(programme, replaced), programme.keep_how
    elif isinstance(days := (job.opened.rates if job.opened else {}).get("keep_days"), int | float):
        until = replaced + timedelta(days=round(days)) if days else None
    machine = machine_file_of(record, job)
    spec = next((p for p in machine.parts if p.id == decision.part), None)
    words = decision.words or decision.part
    pack = is_pack(spec, words)
    gone = [one for one, _ in job.paperwork.let_go if one.part == decision.part]
    moves = job.paperwork.moves
    return Failed(
        decision.part, words, decision.number, job.apart.tagged.get(decision.part), until, how,
        LITHIUM_CARE if pack else (), OUTDOORS if pack else "", gone[-1] if gone else None,
        bool(moves) and isinstance(moves[-1], pw.ClaimSent),
    )  # fmt: skip


def tag_failed(record: Record, job_id: str, where: str, tested: str, at: At) -> Failed:
    """Tag it, with its bench test where it can be tested. Raises Refused."""
    job = load_job(record, job_id)
    failed = _there(record, job, at)
    if len(where) > 200 or len(tested) > 300:
        raise Refused("where it lies and how it tested fit in a line or two")
    if failed.care and not where.strip():
        raise Refused(f"a pack is not kept inside: say where, such as {OUTDOORS}")
    serial = job.opened.serial if job.opened else ""
    named = (job.name, failed.words, failed.number, f"serial {serial}" if serial else "")
    words = " · ".join(one for one in named if one)
    record.append(job_id, [PartTagged(failed.part, words, where.strip(), tested.strip())], at)
    return _there(record, load_job(record, job_id), at)


def let_go(
    record: Record, job_id: str, how: str, words: str, at: At, entry: str = ""
) -> Failed:
    """It is here no more. Scrapping it before its day needs a reason. Raises Refused."""
    job = load_job(record, job_id)
    failed = _there(record, job, at)
    if entry and any(one.entry == entry for one, _ in job.paperwork.let_go):
        return failed
    if how not in ENDS:
        raise Refused(f"{how!r} is no end of a part; it may be: {', '.join(ENDS)}")
    if failed.gone is not None:
        raise Refused(f"it is gone already: {failed.gone.how}; take that back first")
    if how == "scrapped" and failed.care:
        raise Refused("a pack is not scrapped with the rest: hand it over for disposal")
    early = not failed.may_go(at.now.date()) and how != "sent to the programme"
    if early and not words.strip():
        until = "its claim is answered" if failed.unanswered else failed.until
        raise Refused(
            f"it is to be kept until {until}: say why it goes before (--why; a part that is "
            "gone is a common reason for a claim to be denied)"
        )
    gone = pw.PartLetGo(entry or new_entry(), failed.part, how, words.strip())
    record.append(job_id, [gone], at)
    return _there(record, load_job(record, job_id), at)


def _there(record: Record, job: Job, at: At) -> Failed:
    failed = failed_part(record, job, at.now.date())
    if failed is None:
        raise Refused("no part is decided on yet, so none has failed")
    return failed


