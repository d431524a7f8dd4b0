"""What a job will cost the customer, who agreed to it, and what has been paid.

Time comes from the plan: the expected minutes, and a bad case (a stated quantile). Whether an
estimate binds, and by how much it may be passed, differs by place: the shop's own rule, never ours.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Literal

from knowngood.shop.money import Money, MoneyProblem, Taxed, Taxes, nothing, tax_of

Kind = Literal["labour", "part", "fee", "credit"]


@dataclass(frozen=True, slots=True)
class Line:
    """`price` for one; `tax` names a rate of the shop's table, "" for none."""

    kind: Kind
    words: str
    price: Money
    count: Decimal = Decimal(1)
    tax: str = ""

    @property
    def amount(self) -> Money:
        return self.price.times(self.count).rounded()


@dataclass(frozen=True, slots=True)
class Approval:
    """Who agreed to how much, when and how ("by phone"); `no`: who said no."""

    who: str
    how: str
    up_to: Money
    at: datetime
    no: bool = False


@dataclass(frozen=True, slots=True)
class Bill:
    """Lines with tax, and what is left to pay. `deposit` is what the shop asks before it orders;
    `percent` of each tax by the name of its rate."""

    lines: tuple[Line, ...]
    taxed: Taxed
    paid: Money
    deposit: Money
    percent: Mapping[str, Decimal]

    def percent_of(self, name: str) -> str:
        """ "8.25 %" of the tax with this name."""
        return f"{self.percent[name].normalize():f} %"

    @property
    def left(self) -> Money:
        return self.taxed.gross - self.paid


def labour_line(minutes: Decimal, rate: Decimal, currency: str, words: str, tax: str = "") -> Line:
    """Minutes at a rate an hour, as one line. The count is hours, to the minute."""
    return Line("labour", words, Money(rate, currency), minutes / 60, tax)


def bill(
    lines: Sequence[Line],
    table: Taxes,
    currency: str,
    payments: Sequence[Money] = (),
    fee_credited: Money | None = None,
    deposit_percent: Decimal = Decimal(0),
) -> Bill:
    """The lines added up. `fee_credited`: a diagnosis fee already charged and taken off now.

    Raises MoneyProblem when more was paid than is owed, or a line is in another currency.
    """
    all_lines = list(lines)
    if fee_credited is not None and fee_credited.amount:
        all_lines.append(Line("credit", "diagnosis fee, credited", -fee_credited))
    taxed = tax_of([(line.amount, line.tax) for line in all_lines], table, currency)
    paid = sum(payments, nothing(currency))
    if taxed.gross < paid:
        raise MoneyProblem(
            f"{paid} paid, but only {taxed.gross} is owed: take {paid - taxed.gross} back as a "
            "payment of its own, or mend the amount"
        )
    parts = sum((x.amount for x in all_lines if x.kind == "part"), nothing(currency))
    deposit = parts.times(deposit_percent / 100).rounded()
    return Bill(tuple(all_lines), taxed, paid, deposit, dict(table.percent))


@dataclass(frozen=True, slots=True)
class Gate:
    """Whether work may go on. `sentence` says what to do when it may not."""

    open: bool
    sentence: str


def may_go_on(
    total: Money, approvals: Sequence[Approval], free_up_to: Money, spent: Money | None = None
) -> Gate:
    """Whether `total` is within what the customer agreed to (the latest word counts), and so is
    what was `spent` on the way."""
    limit = approvals[-1].up_to if approvals else free_up_to
    if approvals and approvals[-1].no:
        said = f"{approvals[-1].who} said no to {total} ({approvals[-1].how})"
        return Gate(False, f"{said}: hand it back unrepaired, or ask again")
    if spent is not None and approvals and limit < spent:
        last = approvals[-1]
        return Gate(
            False, f"the work so far comes to {spent}, {spent - limit} above what {last.who} "
            f"agreed to ({limit}, {last.how}): ask again before going on",
        )  # fmt: skip
    if total <= limit:
        by = f"{approvals[-1].who} agreed to {limit}" if approvals else f"under {limit}"
        return Gate(True, f"{total}: {by}")
    if not approvals:
        return Gate(False, f"{total} and nobody has agreed yet: ask the customer first")
    last = approvals[-1]
    return Gate(
        False, f"{total} is {total - limit} above what {last.who} agreed to ({limit}, {last.how}): "
        "ask again before going on",
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Worthwhile:
    """Money a year of use, repaired or new, as the customer can follow it."""

    repair_a_year: Money
    new_a_year: Money
    sentence: str


def repair_or_replace(
    repair: Money, new: Money, years_after_repair: Decimal, years_new: Decimal
) -> Worthwhile:
    """Price over expected years, for both. Raises MoneyProblem for years of 0 or less."""
    if years_after_repair <= 0 or years_new <= 0:
        raise MoneyProblem("expected years must be above 0; leave the figure out when not known")
    kept = repair.times(1 / years_after_repair).rounded()
    bought = new.times(1 / years_new).rounded()
    better = "repair" if kept <= bought else "a new one"
    return Worthwhile(
        kept, bought,
        f"repaired {kept} a year over {years_after_repair} years, new {bought} a year over "
        f"{years_new}: {better} costs less a year",
    )  # fmt: skip
