"""The programme's word before the work: up to how much it agreed, who said so, its number."""

from __future__ import annotations

from knowngood.job.paperwork import ProgrammeAgreed
from knowngood.places.gather import load_job
from knowngood.places.paperwork import NO_PROGRAMME, ClaimPage, claim_page, programme_of, read_money
from knowngood.places.record import At, Record, Refused


def agree_programme(
    record: Record, job_id: str, up_to: str, by: str, number: str, at: At
) -> ClaimPage:
    """Note it; said again it replaces, and 0 takes it back. Raises Refused."""
    programme = programme_of(record, load_job(record, job_id))
    if programme is None:
        raise Refused(f"{NO_PROGRAMME}; choose one first")
    money = read_money(up_to, programme.currency)
    if money.amount < 0:
        raise Refused(f"approved up to {money}? Give 0 or more")
    if money.amount and not by.strip():
        raise Refused("whose word is it? Name who approved it, and the number they gave")
    word = ProgrammeAgreed(str(money.rounded().amount), money.currency, by.strip(), number.strip())
    record.append(job_id, [word], at)
    return claim_page(record, job_id, at.now.date())
