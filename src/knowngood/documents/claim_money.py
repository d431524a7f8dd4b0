"""The money of a claim: by a programme's own rules, else by minutes and prices of the record."""

from __future__ import annotations

from decimal import Decimal

from knowngood.documents.document import Box, Bullets, Cell, Column, Paragraph, Row, Table
from knowngood.documents.parties import Earlier, Given, Shop
from knowngood.documents.shown import AlsoPart, also, decided_words
from knowngood.documents.wording import (
    NOT_GIVEN,
    labour,
    minutes,
    money,
    price,
    sentence,
)
from knowngood.job.job import Job
from knowngood.shop.claim_check import PRICE_NOT_GIVEN, RATE_NOT_SET, Worth, clock_words


def money_box(job: Job, shop: Shop, given: Given) -> Box:
    """What the claim asks for, line by line."""
    if given.worth is not None:
        worked = sum(job.minutes_by_step().values())
        clocked = sum(job.clocked_by_step().values())
        return _by_programme(given.worth, worked, clocked, given.earlier)
    rows, total, whole = _by_record(job, shop, given)
    words = "Claimed" if whole else "Claimed, without what is not given"
    rows.append(_line(words, "before tax" if total else "", total or NOT_GIVEN))
    columns = (Column("For", 3), Column("At", 3), Column("Amount", 1.6, right=True))
    note = Paragraph("Minutes step by step are in the record.", "small")
    return Box("Money", (Table(columns, tuple(rows), total=True), note))


def asked(job: Job, shop: Shop, given: Given) -> str:
    """The sum that the claim asks for; "" when not all of it is known."""
    if given.worth is not None:
        return str(given.worth.total) if given.worth.known else ""
    _, total, whole = _by_record(job, shop, given)
    return total if whole else ""


def _by_programme(
    worth: Worth, worked: float, clocked: float, earlier: Earlier | None = None
) -> Box:
    """Labour, diagnosis and parts as the programme pays them, by which rule, and what it does not;
    of a claim that is sent again what was granted before is taken off.

    `worked`: minutes of the whole job, `clocked`: those of them by a clock.
    """
    by = zip(("Labour", "Diagnosis", "Parts"), worth.rules,
             (worth.labour, worth.diagnosis, worth.parts), strict=True)  # fmt: skip
    unknown = {"Labour", "Diagnosis"} if worth.unrated else set[str]()
    if worth.unpriced and not worth.parts.amount:
        unknown.add("Parts")
    rows = [_line(what, rule, "" if what in unknown else money(sum_.amount, sum_.currency))
            for what, rule, sum_ in by]  # fmt: skip
    total = worth.total
    claimed = "Claimed" if worth.known else "Claimed, without what is not given"
    rows.append(_line(claimed, "before tax", money(total.amount, total.currency)))
    if earlier is not None and earlier.granted.amount > 0:
        left = earlier.open_of(total)
        how = f"before tax: {total} less {earlier.granted} granted before"
        rows[-1] = _line("Open, claimed now" if worth.known else "Open, without what is not given",
                         how, money(left.amount, left.currency))  # fmt: skip
    said = [sentence(note) for note in worth.notes]
    known = clock_words(Decimal(str(worked)), Decimal(str(clocked)))
    said.append(f"By the programme's rules; {minutes(worked)} {known}, step by step in the record.")
    columns = (Column("For", 2), Column("By the programme's rule", 5),
               Column("Amount", 1.6, right=True))  # fmt: skip
    notes = Bullets(tuple(said)) if len(said) > 1 else Paragraph(said[0], "small")
    return Box("Money", (Table(columns, tuple(rows), total=True), notes))


def _by_record(job: Job, shop: Shop, given: Given) -> tuple[list[Row], str, bool]:
    """Lines, their sum in words ("" of none), and whether each has its amount."""
    rates = job.opened.rates if job.opened else {}
    currency = given.currency or str(rates.get("currency") or shop.currency)
    rate = given.labour_rate
    kind = "the programme's rate"
    if rate is None:
        kind = "the bench rate"
        recorded = given.bench_rate or rates.get("bench_rate")
        rate = float(recorded) if isinstance(recorded, int | float) else shop.bench_rate
        if not given.rate_set:
            rate = None
    worked = sum(job.minutes_by_step().values())
    rows: list[Row] = []
    amounts: list[Decimal] = []
    if rate is None:
        why = "rate not given" if given.rate_set else RATE_NOT_SET
        rows.append(_line(f"Labour, {minutes(worked)}", why, ""))
    else:
        amounts.append(labour(worked, rate))
        at = f"{money(price(rate), currency)} an hour, {kind}"
        rows.append(_line(f"Labour, {minutes(worked)}", at, money(amounts[0], currency)))
    if job.decision is not None:
        causal = AlsoPart(job.decision.part, decided_words(job.decision), job.decision.number)
        for one in (causal, *also(job.decision)):
            if one.part not in given.prices:
                rows.append(_line(f"1 x {one.words}", PRICE_NOT_GIVEN, ""))
            else:
                amount, source = given.prices[one.part]
                amounts.append(amount)
                rows.append(_line(f"1 x {one.words}", source, money(amount, currency)))
    total = money(sum(amounts, Decimal(0)), currency) if amounts else ""
    return rows, total, len(amounts) == len(rows)


def _line(what: str, at: str, amount: str) -> Row:
    return Row((Cell(what), Cell(at), Cell(amount)))
