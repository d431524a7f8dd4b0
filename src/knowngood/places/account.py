"""The customer's side of a job: the estimate, who agreed to how much, and money that came in."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import cast

from knowngood.job import paperwork as pw
from knowngood.job.job import Job
from knowngood.places.gather import load_job
from knowngood.places.paperwork import day_text, entered, money_of, new_entry, read_money
from knowngood.places.record import At, Record, Refused
from knowngood.shop.estimate import Approval, Bill, Gate, Line, bill, may_go_on
from knowngood.shop.money import MoneyProblem, Taxes, nothing


@dataclass(frozen=True, slots=True)
class Account:
    """The customer's side: the estimate as a bill, whether work may go on, what is left."""

    bill: Bill
    gate: Gate


def make_estimate(
    record: Record, job_id: str, lines: Sequence[Line], taxes: Taxes, currency: str, at: At
) -> Account:
    """Write the estimate down; it replaces the one before, and what was agreed stays agreed."""
    load_job(record, job_id)
    try:
        made = bill(lines, taxes, currency)
    except MoneyProblem as problem:
        raise Refused(str(problem)) from problem
    plain = [
        {"kind": x.kind, "words": x.words, "price": str(x.price.amount), "count": str(x.count),
         "tax": x.tax}
        for x in lines
    ]  # fmt: skip
    table = {
        "percent": {name: str(p) for name, p in taxes.percent.items()}, "on": taxes.on,
        "step": str(taxes.step), "line_step": str(taxes.line_step), "mode": taxes.mode,
        "included": taxes.included,
    }  # fmt: skip
    gross = str(made.taxed.gross.amount)
    record.append(
        job_id, [pw.EstimateMade({"lines": plain, "taxes": table}, gross, currency)], at
    )
    account = account_of(load_job(record, job_id))
    assert account is not None
    return account


def account_of(job: Job) -> Account | None:
    """The customer's account, from what was written down that day; None without an estimate."""
    made = job.paperwork.estimate
    if made is None:
        return None
    currency = made.currency
    table = made.lines["taxes"]
    taxes = Taxes(
        {name: Decimal(p) for name, p in table["percent"].items()}, table["on"],
        Decimal(table["step"]), Decimal(table["line_step"]), table["mode"], table["included"],
    )  # fmt: skip
    lines = [
        Line(x["kind"], x["words"], money_of(x["price"], currency), Decimal(x["count"]), x["tax"])
        for x in made.lines["lines"]
    ]
    payments = [money_of(t.amount, t.currency) for t in job.paperwork.taken]
    try:
        owed = bill(lines, taxes, currency, payments)
    except MoneyProblem:
        # a later, lower estimate: what was paid too much is owed back
        unpaid = bill(lines, taxes, currency)
        owed = replace(unpaid, paid=sum(payments, nothing(currency)))
    agreed = [
        Approval(a.who, a.how, money_of(a.up_to, a.currency), at.server_time)
        for a, at in job.paperwork.agreed
    ]
    return Account(owed, may_go_on(owed.taxed.gross, agreed, nothing(currency)))


def agree(record: Record, job_id: str, who: str, how: str, up_to: str, at: At) -> Account:
    """The customer's word: who, how, up to what amount."""
    made = load_job(record, job_id).paperwork.estimate
    if made is None:
        raise Refused("there is no estimate to agree to yet")
    if not who.strip() or not how.strip():
        raise Refused("an agreement needs who agreed and how, as by phone")
    money = read_money(up_to or made.gross, made.currency)
    agreed = pw.CustomerAgreed(who.strip(), how.strip(), str(money.amount), money.currency)
    record.append(job_id, [agreed], at)
    return cast(Account, account_of(load_job(record, job_id)))


def take_money(
    record: Record, job_id: str, amount: str, way: str, at: At, entry: str = ""
) -> Account:
    """A payment of the customer's, below zero what is given back. More than owed is refused."""
    job = load_job(record, job_id)
    account = account_of(job)
    if account is None:
        raise Refused("there is no estimate yet, so nothing is owed")
    if entered(record, job_id, entry):
        return account
    money = read_money(amount, account.bill.taxed.gross.currency)
    if account.bill.left < money:
        raise Refused(f"{money} paid, but only {account.bill.left} is owed; mend the amount")
    if (account.bill.paid + money).amount < 0:
        raise Refused(f"{-money} given back, but only {account.bill.paid} was paid")
    taken = pw.MoneyTaken(
        entry or new_entry(), day_text(at), str(money.amount), money.currency, way.strip()
    )
    record.append(job_id, [taken], at)
    return cast(Account, account_of(load_job(record, job_id)))
