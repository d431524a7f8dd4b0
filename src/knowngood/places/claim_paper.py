"""What a printed claim is told beside the readings: programme, purchase, codes, money."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from decimal import Decimal

from knowngood.documents.parties import Earlier, Given
from knowngood.documents.wording import day, listed, sentence
from knowngood.job.job import Job
from knowngood.job.paperwork import ClaimSent
from knowngood.places.days import day_of
from knowngood.places.paperwork import ClaimPage, claim_page, cover_of
from knowngood.places.part_meant import parts_fitted
from knowngood.places.part_price import part_price
from knowngood.places.record import Record, Refused
from knowngood.places.resubmitted import earlier_of
from knowngood.places.shop_rate import rate_of
from knowngood.shop.claim_check import Worth, asked_for
from knowngood.shop.codes import words_of


def given_of(record: Record, job: Job, today: date) -> Given:
    """What the claim's paper is told: programme, purchase, codes, and what is asked for."""
    paper = job.paperwork
    cover, chosen = paper.cover, paper.programme
    page: ClaimPage | None = None
    if chosen is not None:
        try:
            page = claim_page(record, job.id, today)
        except Refused:
            page = None  # an unknown labour code: the paper goes by minutes
    judged = cover_of(record, job, today) if chosen else None
    sent = [m for m in paper.moves if isinstance(m, ClaimSent) and m.number]
    codes = (paper.codes.mode, paper.codes.cause, paper.codes.action)
    proof = ", ".join(cover.proof)
    bought = f"bought {_day(cover.purchased)}" if cover.purchased else ""
    own = rate_of(record, job)
    return Given(
        claim_number=sent[-1].number if sent else "",
        programme=chosen.words if chosen else "",
        proof_of_purchase="; ".join(x for x in (proof, bought) if x),
        in_service=_day(cover.delivered or cover.purchased),
        failed_on=_day(cover.failed),
        hours=cover.hours,
        use=cover.use,
        failure_code="; ".join(words_of(code) for code in codes if code),
        worth=page.worth if page else None,
        bench_rate=float(own.amount) if own.given else None,
        rate_set=own.given,
        currency=own.currency,
        cover=f"until {day(judged.ends)}" if judged and judged.ends else "",
        shows=_shows(page) if page else "",
        in_short=_in_short(page, job) if page else "",
        earlier=earlier_of(job, page) if page else None,
        keep=_keep(page) if page else "",
        notices="; ".join(f"{n.id}: {n.words}" for n in judged.notices) if judged else "",
        prices=prices_of_parts(record, job),
    )


def prices_of_parts(record: Record, job: Job) -> Mapping[str, tuple[Decimal, str]]:
    """By part of the decision what this job's order or a price list says it costs, and which, in
    the currency of the job's rate; a part without such a price is left out."""
    currency = rate_of(record, job).currency
    found: dict[str, tuple[Decimal, str]] = {}
    for part, words, its in parts_fitted(job):
        priced = part_price(record, job, part, words, its.number, currency)
        if not priced.note:
            found[part] = (priced.amount, priced.source)
    return found


def _day(text: str) -> str:
    found = day_of(text)
    return day(found) if found else text


def _shows(page: ClaimPage) -> str:
    """ "all 12 things the programme asks for", or what of them is missing."""
    wanted = len(asked_for(page.programme))
    if page.worth is not None:
        wanted += page.worth.unrated + len(page.worth.unpriced)
        wanted += page.cover.answer == "needs approval"
    if not page.lacks:
        return f"all {wanted} things the programme asks for"
    missing = listed([lack.words for lack in page.lacks])
    return f"{wanted - len(page.lacks)} of {wanted} things asked for; not shown: {missing}"


def _in_short(page: ClaimPage, job: Job) -> str:
    """Two sentences: what is asked for, and why it is covered."""
    decision = job.decision
    if decision is None or page.worth is None:
        return ""
    found = "proven by the readings below" if decision.proven else "not proven, see below"
    parts = [f"one {_lower(words)} {its.words}".strip() for _, words, its in parts_fitted(job)]
    earlier = earlier_of(job, page)
    asks = f"We ask {_asked(page.worth, earlier)} for {listed(parts)}, {found}."
    cover, failed = page.cover, day_of(job.paperwork.cover.failed)
    if cover.answer == "not covered":
        return f"{asks} The programme's terms speak against it: {'; '.join(cover.reasons)}."
    if cover.ends is None:
        return asks
    when = f"; it failed on {day(failed)}" if failed else ""
    first = cover.claim_by is not None and earlier is None
    by = f". To be sent by {day(cover.claim_by)}" if first and cover.claim_by else ""
    covered = sentence(f"covered until {day(cover.ends)}{when}{by}")
    return f"{asks} {covered} {_approved(page, job)}".strip()


def _asked(worth: Worth, earlier: Earlier | None) -> str:
    """The sum, or of a claim that is sent again what of it is open."""
    whole = worth.words[3]
    if earlier is None or earlier.granted.amount <= 0:
        return whole
    if not worth.known:
        return f"{whole}, less the {earlier.granted} granted before,"
    return f"{earlier.open_of(worth.total)} more"


def _approved(page: ClaimPage, job: Job) -> str:
    """The programme's word before the work, where its terms ask for one; "" where they do not."""
    agreed, limit = job.paperwork.programme_agreed, page.programme.approval_above
    if page.cover.answer == "needs approval":
        asks = f"Above {limit} {page.programme.currency} the programme's word comes first"
        return f"{asks}: not here yet."
    if limit is None or agreed is None or not Decimal(agreed.up_to):
        return ""
    number = f", {agreed.number}" if agreed.number else ""
    return f"Approved up to {agreed.up_to} {agreed.currency} by {agreed.by}{number}."


def _lower(words: str) -> str:
    return words if words[1:2].isupper() else f"{words[:1].lower()}{words[1:]}"


def _keep(page: ClaimPage) -> str:
    if page.keep_until is None:
        return ""
    return f"at least until {day(page.keep_until)}: {page.programme.keep_how}"
