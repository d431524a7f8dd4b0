"""Money as exact decimals, and the shop's table of taxes.

No rate and no rule is built in: the shop writes its own table, since what is due and how it is
rounded differ by place. In the European Union the method of rounding (each line, or the whole
paper; half up, or down) is left to each country: Court of Justice, C-484/06 and C-302/07.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from decimal import ROUND_DOWN, ROUND_HALF_EVEN, ROUND_HALF_UP, Decimal, InvalidOperation
from typing import Literal

Mode = Literal["half up", "half even", "down"]
_MODES: Mapping[str, str] = {
    "half up": ROUND_HALF_UP, "half even": ROUND_HALF_EVEN, "down": ROUND_DOWN,
}  # fmt: skip
MOST = Decimal(10) ** 9
_NO_CENTS = frozenset({
    "BIF", "CLP", "DJF", "GNF", "ISK", "JPY", "KMF", "KRW", "PYG", "RWF", "UGX", "VND", "VUV",
    "XAF", "XOF", "XPF",
})  # fmt: skip
_THREE = frozenset({"BHD", "IQD", "JOD", "KWD", "LYD", "OMR", "TND"})
_PLAIN = re.compile(r"[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)")
_IN_THOUSANDS = re.compile(r"[+-]?\d{1,3}(?:,\d{3})+(?:\.\d*)?|[+-]?\d{1,3}(?:\.\d{3})+(?:,\d*)?")


def step_of(currency: str) -> Decimal:
    """The smallest unit of a currency: 1 of the yen, 0.001 of the Kuwaiti dinar, else 0.01.

    Source: ISO 4217, column of minor units (from memory); the shop's table may round otherwise.
    """
    return Decimal("1" if currency in _NO_CENTS else "0.001" if currency in _THREE else "0.01")


class MoneyProblem(ValueError):
    """A sum that cannot be: two currencies, no number, more than is owed. Says the way out."""


@dataclass(frozen=True, slots=True)
class Money:
    """An exact amount in one currency (its code, such as "EUR"; ISO 4217 where it has one)."""

    amount: Decimal
    currency: str

    def __add__(self, other: Money) -> Money:
        return Money(self.amount + self._same(other).amount, self.currency)

    def __sub__(self, other: Money) -> Money:
        return Money(self.amount - self._same(other).amount, self.currency)

    def __neg__(self) -> Money:
        return Money(-self.amount, self.currency)

    def __lt__(self, other: Money) -> bool:
        return self.amount < self._same(other).amount

    def __le__(self, other: Money) -> bool:
        return self.amount <= self._same(other).amount

    def times(self, factor: Decimal | int) -> Money:
        """Exact; not rounded."""
        return Money(self.amount * factor, self.currency)

    def rounded(self, step: Decimal | None = None, mode: Mode = "half up") -> Money:
        """To a multiple of `step`, as 0.05 where the smallest coin is five cents; None: of the
        smallest unit of the currency."""
        step = step_of(self.currency) if step is None else step
        if step <= 0:
            raise MoneyProblem(f"a rounding step of {step}; give one above 0, as 0.01")
        steps = (self.amount / step).quantize(Decimal(1), _MODES[mode])
        return Money(steps * step, self.currency)

    def _same(self, other: Money) -> Money:
        if other.currency != self.currency:
            raise MoneyProblem(
                f"{self} and {other} are two currencies; write both in {self.currency}, at the "
                "rate of the day"
            )
        return other

    def __str__(self) -> str:
        step = step_of(self.currency)
        whole = self.amount.quantize(step)
        finer = int(self.amount.normalize().as_tuple().exponent)
        exact = finer < int(step.as_tuple().exponent) and finer >= -8
        return f"{self.amount if exact else whole} {self.currency}"


def nothing(currency: str) -> Money:
    return Money(Decimal("0.00"), currency)


def read_amount(text: str, currency: str) -> Money:
    """What a person types: "12.50", "12,50", "1 250.00", "1.250,00". Raises MoneyProblem.

    One mark followed by three figures ("1.250") may be thousands or not, so it is asked again.
    """
    said = text.strip().removesuffix(currency).removeprefix(currency)
    bare = said.replace(" ", "").replace("\N{NO-BREAK SPACE}", "").replace("'", "")
    said_again = f"{text.strip()[:40]!r}"
    other = re.search(r"[A-Z]{3}", bare)
    if other:
        raise MoneyProblem(
            f"{said_again} is in {other[0]}, this is in {currency}: write it in "
            f"{currency}, at the rate of the day"
        )
    apart = re.search(r"\d[ '\N{NO-BREAK SPACE}](?!\d{3}(?!\d))", said.strip())
    if apart or not (_PLAIN.fullmatch(bare) or _IN_THOUSANDS.fullmatch(bare)):
        raise MoneyProblem(f"{said_again} is no amount; write it like 12.50")
    point, comma = bare.rfind("."), bare.rfind(",")
    if point >= 0 and comma >= 0:
        thousands = "," if point > comma else "."
        bare = bare.replace(thousands, "").replace(",", ".")
    elif (mark := max(point, comma)) >= 0:
        sign = bare[mark]
        if bare.count(sign) > 1:
            bare = bare.replace(sign, "")
        elif len(bare) - mark == 4 and bare[:mark].lstrip("+-") not in {"", "0"}:
            whole = bare.replace(sign, "")
            raise MoneyProblem(
                f"{text.strip()!r} may be {whole} or {bare[:mark]}.{bare[mark + 1:]}; write "
                f"{whole}.00 or {bare[:mark]}.{bare[mark + 1:]}0"
            )
        else:
            bare = bare.replace(",", ".")
    try:
        amount = Decimal(bare)
    except InvalidOperation:
        raise MoneyProblem(f"{text.strip()[:40]!r} is no amount; write it like 12.50") from None
    if not amount.is_finite() or abs(amount) > MOST:
        raise MoneyProblem(f"{text.strip()[:40]!r} is no amount of a shop; at most {MOST:,}")
    return Money(amount, currency)


@dataclass(frozen=True, slots=True)
class Taxes:
    """The shop's table. `percent` by the name of a rate; `on` says where rounding happens.

    `on="line"`: each line's tax is rounded to `line_step`, their sum to `step`.
    `on="total"`: lines of one rate are added up, the tax of the sum is rounded to `step` once.
    `included`: prices are gross, and the tax is what is in them. A step of None is the smallest
    unit of the currency.
    """

    percent: Mapping[str, Decimal] = field(default_factory=dict)
    on: Literal["line", "total"] = "total"
    step: Decimal | None = None
    line_step: Decimal | None = None
    mode: Mode = "half up"
    included: bool = False


@dataclass(frozen=True, slots=True)
class Taxed:
    """`net` + the sum of `tax` = `gross`, exactly. `tax` by the name of its rate."""

    net: Money
    tax: Mapping[str, Money]
    gross: Money


def tax_of(lines: Iterable[tuple[Money, str]], table: Taxes, currency: str) -> Taxed:
    """The tax on lines of (price, rate); "" is no tax.

    Raises MoneyProblem for a rate that the table lacks, or a line in another currency.
    """
    total = nothing(currency)
    bases: dict[str, Money] = {}
    due: dict[str, Money] = {}
    for price, rate in lines:
        total = total + price
        if not rate:
            continue
        if rate not in table.percent:
            known = ", ".join(sorted(table.percent)) or "none yet"
            raise MoneyProblem(f"there is no tax {rate!r}; the shop's table has: {known}")
        bases[rate] = bases.get(rate, nothing(currency)) + price
        if table.on == "line":
            part = _tax(price, table.percent[rate], table.included)
            part = part.rounded(table.line_step, table.mode)
            due[rate] = due.get(rate, nothing(currency)) + part
    if table.on == "total":
        due = {r: _tax(base, table.percent[r], table.included) for r, base in bases.items()}
    due = {rate: tax.rounded(table.step, table.mode) for rate, tax in due.items()}
    all_tax = sum(due.values(), nothing(currency))
    if table.included:
        return Taxed(total - all_tax, due, total)
    return Taxed(total, due, total + all_tax)


def _tax(price: Money, percent: Decimal, included: bool) -> Money:
    share = percent / (100 + percent) if included else percent / 100
    return price.times(share)
