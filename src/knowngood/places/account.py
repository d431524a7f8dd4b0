"""The customer's side of a job: the estimate, who agreed to how much, and money that came in."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from typing import cast

from knowngood.documents.bill import Payment
from knowngood.job import paperwork as pw
from knowngood.job.counter import Paid, PaymentNoted
from knowngood.job.job import Job
from knowngood.places.ends import unrepaired, without_parts
from knowngood.places.gather import load_job
from knowngood.places.paper_days import day_text
from knowngood.places.paperwork import entered, money_of, new_entry, read_money
from knowngood.places.part_meant import parts_decided
from knowngood.places.part_price import part_price
from knowngood.places.record import At, Record, Refused
from knowngood.places.shop_rate import rate_of
from knowngood.shop.claim_check import SET_RATE
from knowngood.shop.estimate import (
    Approval,
    Bill,
    Gate,
    Line,
    Worthwhile,
    bill,
    may_go_on,
    repair_or_replace,
)
from knowngood.shop.money import Money, MoneyProblem, Taxes, nothing, step_of

_SAID = re.compile(r"(\d[\d.,' \N{NO-BREAK SPACE}]*)(.*)", re.DOTALL)
_SUM = re.compile(r"(?<![\d.,])\d[\d.,']*[.,]\d\d(?!\d)")
_CENTS = re.compile(r"[.,]\d\d$")


@dataclass(frozen=True, slots=True)
class Newer:
    """A new machine, to compare: its price, and how long each is expected to last."""

    price: Money
    years: Decimal
    years_after_repair: Decimal


@dataclass(frozen=True, slots=True)
class Account:
    """The customer's side: what is asked as a bill, whether work may go on, what is left.

    `estimate`: the bill as it was estimated; after a no, `bill` has the fee alone.
    `bad_case`: what nine of ten such jobs do not pass, with tax; `spent`: what the minutes
    noted so far and the part decided on come to, with tax, None where nothing is known of it.
    `trouble`: what in the record does not go together, with the way out; "" when all does.
    """

    bill: Bill
    gate: Gate
    estimate: Bill
    bad_case: Money | None = None
    spent: Money | None = None
    worthwhile: Worthwhile | None = None
    trouble: str = ""

    @property
    def deposit_open(self) -> Money:
        """What is still to be paid before a part is ordered; zero when nothing is."""
        open_ = self.bill.deposit - self.bill.paid
        return open_ if open_.amount > 0 else nothing(open_.currency)


def make_estimate(
    record: Record, job_id: str, lines: Sequence[Line], taxes: Taxes, currency: str, at: At,
    bad_case: Money | None = None, deposit_percent: Decimal = Decimal(0),
    newer: Newer | None = None,
) -> Account:  # fmt: skip
    """Write the estimate down; it replaces the one before, and what was agreed stays agreed."""
    if other := _other_money(load_job(record, job_id), currency):
        raise Refused(f"{other}; nothing was stored")
    if not 0 <= deposit_percent <= 100:
        raise Refused(f"a deposit of {deposit_percent} percent; give 0 to 100")
    try:
        made = bill(lines, taxes, currency, deposit_percent=deposit_percent)
        if newer is not None:
            repair_or_replace(
                made.taxed.gross, newer.price, newer.years_after_repair, newer.years
            )
        if bad_case is not None and bad_case < made.taxed.gross:
            raise Refused(
                f"a bad case of {bad_case} is below the estimate of {made.taxed.gross}; mend one"
            )
    except MoneyProblem as problem:
        raise Refused(str(problem)) from problem
    plain = [
        {"kind": x.kind, "words": x.words, "price": str(x.price.amount), "count": str(x.count),
         "tax": x.tax}
        for x in lines
    ]  # fmt: skip
    table = {
        "percent": {name: str(p) for name, p in taxes.percent.items()}, "on": taxes.on,
        "step": str(taxes.step or step_of(currency)), "mode": taxes.mode,
        "line_step": str(taxes.line_step or step_of(currency)),
        "included": taxes.included,
    }  # fmt: skip
    more: dict[str, object] = {"lines": plain, "taxes": table}
    if deposit_percent:
        more["deposit_percent"] = str(deposit_percent)
    if newer is not None:
        more["newer"] = {"price": str(newer.price.amount), "years": str(newer.years),
                         "years_after_repair": str(newer.years_after_repair)}  # fmt: skip
    gross, bad = str(made.taxed.gross.amount), str(bad_case.amount) if bad_case else ""
    record.append(job_id, [pw.EstimateMade(more, gross, currency, bad)], at)
    account = account_of(record, load_job(record, job_id))
    assert account is not None
    return account


def account_of(record: Record, job: Job) -> Account | None:
    """The customer's account, from what was written down that day, the work so far at the shop's
    own rate; None without an estimate."""
    made = job.paperwork.estimate
    if made is None:
        return None
    currency, taxes = made.currency, taxes_from(made)
    lines = [
        Line(x["kind"], x["words"], money_of(x["price"], currency), Decimal(x["count"]), x["tax"])
        for x in made.lines["lines"]
    ]
    payments = [paid.amount for paid in payments_of(job) if paid.amount.currency == currency]
    deposit = Decimal(str(made.lines.get("deposit_percent", 0)))
    whole = owed = _with_paid(bill(lines, taxes, currency, deposit_percent=deposit), payments)
    without = _not_repaired(job, currency, whole)
    fees = [line for line in lines if line.kind == "fee"]
    if without:
        owed = _with_paid(bill(fees, taxes, currency), payments)
    agreed = [
        Approval(a.who, a.how, money_of(a.up_to, a.currency), at.server_time, a.said_no)
        for a, at in job.paperwork.agreed
        if a.currency == currency  # a word on another currency is none on this estimate
    ]
    spent, unwatched = (None, "") if without else _spent(record, job, whole, taxes.included)
    gate = may_go_on(whole.taxed.gross, agreed, nothing(currency), spent)
    if unwatched:
        gate = replace(gate, sentence=f"{gate.sentence}; {unwatched}")
    if job.closed is not None and _paid_in_full(whole):
        gate = Gate(True, f"{whole.taxed.gross}: paid in full")
    if without and job.closed is not None:
        gate = Gate(True, f"{without}: {'only the fee' if fees else 'nothing'} is asked")
    if trouble := _other_money(job, currency):
        gate = Gate(False, trouble)
    return Account(
        owed, gate, whole, money_of(made.bad_case, currency) if made.bad_case else None, spent,
        _worthwhile(made, whole.taxed.gross), trouble,
    )  # fmt: skip


def _with_paid(unpaid: Bill, payments: Sequence[Money]) -> Bill:
    """What was paid too much, as after a later, lower estimate, is owed back."""
    return replace(unpaid, paid=sum(payments, nothing(unpaid.taxed.gross.currency)))


def _paid_in_full(whole: Bill) -> bool:
    return whole.paid.amount > 0 and whole.left.amount <= 0


def _not_repaired(job: Job, currency: str, whole: Bill) -> str:
    """That the machine goes, or went, back without the repair that was estimated: the customer said
    no, the job's end says so, or nothing was found and nobody agreed or paid; "" otherwise."""
    closed = job.closed
    agreed = [one for one, _ in job.paperwork.agreed if one.currency == currency]
    if agreed and agreed[-1].said_no and (closed is None or closed.outcome != "repaired"):
        return f"not repaired ({agreed[-1].who} said no)"
    if closed is None:
        return ""
    if unrepaired(closed.outcome) or (
        not agreed and without_parts(closed.outcome) and not _paid_in_full(whole)
    ):
        return f"not repaired ({closed.outcome})" if agreed else "not repaired, nobody agreed"
    return ""


def _other_money(job: Job, currency: str) -> str:
    """That the customer paid in another currency than the estimate's, and the way out; "" if not.
    It cannot be entered any more, but an old record may hold it."""
    paid: dict[str, Decimal] = {}
    for one in payments_of(job):
        of = one.amount.currency
        paid[of] = paid.get(of, Decimal(0)) + one.amount.amount
    others = [Money(sum_, of) for of, sum_ in paid.items() if of != currency and sum_]
    if not others:
        return ""
    first = others[0]
    return (
        f"{first} came in from the customer and the estimate is in {currency}: two currencies; "
        f"write the estimate in {first.currency}, or take the payment back (undo) and enter it in "
        f"{currency}, at the rate of the day"
    )


def payments_of(job: Job) -> tuple[Payment, ...]:
    """All that the customer paid: as it was entered with the papers, and at the pickup."""
    found = [Payment(date.fromisoformat(t.day), money_of(t.amount, t.currency), t.way)
             for t in job.paperwork.taken]  # fmt: skip
    noted, at = job.counter.payment, job.counter.paid_at
    if noted is not None and noted.amount and at is not None:
        way = f"at pickup: {noted.words}" if noted.words else "at pickup"
        amount = money_of(noted.amount, noted.currency)
        found.append(Payment(at.device_time.date(), amount, way))
    return tuple(found)


def paid_words(record: Record, job: Job) -> str:
    """Each payment with its sum, and what is left; without sums what was said at the pickup."""
    noted, sums = job.counter.payment, payments_of(job)
    if not sums:
        return f"{noted.paid} {noted.words}".strip() if noted else ""
    said = [f"{p.amount} on {p.day.isoformat()}{f', {p.way}' if p.way else ''}" for p in sums]
    account = account_of(record, job)
    if account is not None:
        left = account.bill.left
        said.append("paid in full" if left.amount <= 0 else f"left to pay: {left}")
    return "; ".join(said)


def pay_at_pickup(record: Record, job_id: str, paid: Paid, words: str, at: At) -> None:
    """What is said of the payment as the machine goes out; it replaces what was said before. Under
    an estimate the amount counts: the figure the words begin with, all that is left where there is
    none. Raises Refused where another figure may be meant."""
    job = load_job(record, job_id)
    noted = replace(job, counter=replace(job.counter, payment=None))
    account, amount, currency = account_of(record, noted), "", ""
    if paid == "paid" and account is not None and account.bill.left.amount > 0:
        left = account.bill.left
        money = _said_at_pickup(words, left)
        if left < money:
            raise Refused(f"{money} paid, but only {left} is owed; mend the amount")
        amount, currency = str(money.amount), money.currency
    record.append(job_id, [PaymentNoted(paid, words, amount, currency)], at)


def _said_at_pickup(words: str, left: Money) -> Money:
    """ "84.00 card 4242" is 84.00 and "card" is all that is left; "card 4242" may be either."""
    found = _SAID.match(words.strip().removeprefix(left.currency).strip())
    amount, rest = (found[1].strip(), found[2]) if found else ("", words)
    if not re.search(r"\d", rest if not _CENTS.search(amount) else ""):
        return read_money(amount, left.currency) if amount else left
    if len(sums := _SUM.findall(words)) == 1:  # "$84.00", "paid 84.00 cash"
        return read_money(sums[0], left.currency)
    first = f"{str(left).removesuffix(left.currency)}cash"
    raise Refused(f"how much of {left} was paid? Begin with the amount, as {first!r}")


def taxes_from(made: pw.EstimateMade) -> Taxes:
    """The shop's table as it was when the estimate was made."""
    table = made.lines["taxes"]
    return Taxes(
        {name: Decimal(p) for name, p in table["percent"].items()}, table["on"],
        Decimal(table["step"]), Decimal(table["line_step"]), table["mode"], table["included"],
    )  # fmt: skip


def _spent(
    record: Record, job: Job, owed: Bill, included: bool
) -> tuple[Money | None, str]:
    """What minutes noted so far and the part decided on come to, taxed as the estimate is (with
    tax `included`, so is the rate), None where it cannot be said; and what is not held against
    what was agreed to, "" when all is."""
    currency, rate = owed.taxed.gross.currency, rate_of(record, job)
    minutes = sum(job.minutes_by_step().values())
    if not minutes:
        return None, ""
    so = "minutes worked are not held against what was agreed to"
    if not rate.given:
        return None, f"{so}: the shop's rate is not set, {SET_RATE}"
    if rate.currency not in ("", currency):
        its = rate.currency
        return None, f"{so}: the bench rate of this job is in {its}, the estimate in {currency}"
    part, why = _part_cost(record, job, owed)
    net = Money(Decimal(str(minutes)) * rate.amount / 60, currency) + part
    untaxed, gross = owed.taxed.net.amount, owed.taxed.gross.amount
    share = gross / untaxed if untaxed and not included else Decimal(1)
    said = f"the part is not held against what was agreed to: {why}" if why else ""
    return net.times(share).rounded(), said


def _part_cost(record: Record, job: Job, owed: Bill) -> tuple[Money, str]:
    """Of the parts decided on: what the customer was told, else what they cost the shop; and why
    one is not counted, "" when all are. A machine file's price is an example and counts for
    nothing."""
    currency, told = owed.taxed.gross.currency, nothing(owed.taxed.gross.currency)
    decided = parts_decided(job)
    if not decided:
        return told, ""
    told = sum((x.amount for x in owed.lines if x.kind == "part"), told)
    if told.amount:
        return told, ""
    found = [part_price(record, job, part, words.lower(), number, currency, "the estimate is")
             for part, words, number in decided]  # fmt: skip
    cost = Money(sum((one.amount for one in found), Decimal(0)), currency)
    return cost, "; ".join(one.note for one in found if one.note)


def _worthwhile(made: pw.EstimateMade, gross: Money) -> Worthwhile | None:
    newer = made.lines.get("newer")
    if not newer:
        return None
    return repair_or_replace(
        gross, money_of(newer["price"], made.currency), Decimal(newer["years_after_repair"]),
        Decimal(newer["years"]),
    )  # fmt: skip


def stopped(record: Record, job: Job) -> str:
    """Why the shop may not order or go on for this customer; "" when it may.

    Only where an estimate was made: what was never estimated is between the two of them.
    """
    account = account_of(record, job)
    return "" if account is None or account.gate.open else account.gate.sentence


def before_ordering(record: Record, job: Job) -> str:
    """Why no part may be ordered yet: nobody agreed, or the deposit is not here; "" when it may."""
    if why := stopped(record, job):
        return why
    account = account_of(record, job)
    if account is None or not account.deposit_open.amount:
        return ""
    return (
        f"the deposit of {account.bill.deposit} is not paid, {account.bill.paid} came in: take "
        f"{account.deposit_open} first, or write the estimate again without a deposit"
    )


def agree(
    record: Record, job_id: str, who: str, how: str, up_to: str, at: At, no: bool = False
) -> Account:
    """The customer's word: who, how, up to what amount; `no`: none of it. Raises Refused."""
    job = load_job(record, job_id)
    made = job.paperwork.estimate
    if made is None:
        raise Refused("there is no estimate to agree to yet")
    if other := _other_money(job, made.currency):
        raise Refused(f"{other}; nothing was stored")
    if not who.strip() or not how.strip():
        raise Refused("an agreement needs who agreed and how, as by phone")
    money = read_money("0" if no else up_to or made.bad_case or made.gross, made.currency)
    if money.amount < 0:
        raise Refused(f"{who.strip()} agreed up to {money}? Give 0 or more")
    if not no and not money.amount and Decimal(made.gross):
        raise Refused(f"{who.strip()} agreed to {money} of {made.gross}? Say no, or give an amount")
    agreed = pw.CustomerAgreed(
        who.strip(), how.strip(), str(money.amount), money.currency, "no" if no else "yes"
    )
    record.append(job_id, [agreed], at)
    return cast(Account, account_of(record, load_job(record, job_id)))


def take_money(
    record: Record, job_id: str, amount: str, way: str, at: At, entry: str = "", on: str = ""
) -> Account:
    """A payment of the customer's, below zero what is given back. More than owed is refused."""
    job = load_job(record, job_id)
    account = account_of(record, job)
    if account is None:
        raise Refused("there is no estimate yet, so nothing is owed")
    if entered(record, job_id, entry):
        return account
    money = read_money(amount, account.bill.taxed.gross.currency)
    if not money.amount:
        raise Refused(f"{money} came in? Give what was paid, or below zero what was given back")
    if other := _other_money(job, money.currency):
        raise Refused(f"{other}; nothing was stored")
    if account.bill.left < money:
        raise Refused(f"{money} paid, but only {account.bill.left} is owed; mend the amount")
    if (account.bill.paid + money).amount < 0:
        raise Refused(f"{-money} given back, but only {account.bill.paid} was paid")
    taken = pw.MoneyTaken(
        entry or new_entry(), day_text(at, on, job), str(money.amount), money.currency, way.strip()
    )
    record.append(job_id, [taken], at)
    return cast(Account, account_of(record, load_job(record, job_id)))
