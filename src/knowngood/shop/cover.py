"""Is it covered? An answer with its reasons, its dates, and what is missing to say more.

It warns and never blocks the bench. What the law gives the customer beside a programme is not
decided here: `ASK_LOCALLY` says so wherever an answer is shown.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Final, Literal

from knowngood.shop.days import after_days, after_months, days_between
from knowngood.shop.programme import REST, CoverLine, Facts, Notice, Programme

Answer = Literal["covered", "not covered", "needs approval", "can't say"]
ASK_LOCALLY: Final = (
    "The customer may have rights by law beside this programme: ask your local rule."
)
MATTERS: Final[Mapping[str, tuple[str, ...]]] = {
    "water": ("water", "flood", "corrosion"), "impact": ("impact", "dropped", "drop", "run over"),
    "fuel": ("stale", "wrong fuel", "old fuel"), "pack": ("wrong pack", "worn pack", "'s pack"),
    "opened": ("opened", "earlier repair", "tampered"),
}  # fmt: skip
"""Exclusion -> how its questions and the causes that speak of it are worded."""


@dataclass(frozen=True, slots=True)
class Cover:
    """`reasons` in the order a person would give them; `missing`: what would settle it.

    `ends`: the last day covered. `claim_by`: the last day for the claim, None while the day of
    failure is not known. `notices`: recalls and service notices that mean this machine.
    """

    answer: Answer
    reasons: tuple[str, ...]
    missing: tuple[str, ...]
    ends: date | None
    claim_by: date | None
    notices: tuple[Notice, ...]

    @property
    def sentence(self) -> str:
        """ "Not covered: used in trade, and cover for that ended on 2025-04-19"."""
        why = "; ".join(self.reasons if self.answer != "can't say" else self.missing)
        return f"{self.answer[0].upper()}{self.answer[1:]}" + (f": {why}" if why else "")


def judge_cover(programme: Programme, facts: Facts, today: date) -> Cover:
    """What the programme says of this machine, by what is known today."""
    notices = tuple(n for n in programme.notices if n.means(facts.model, facts.serial))
    against: list[str] = []
    reasons: list[str] = []
    missing: list[str] = []
    group = programme.group_of(facts.part)
    if not facts.part:
        missing.append("which part it is: this is the answer for " + REST)
    ends = _ends(programme, facts, against, reasons, missing)
    failed = facts.failed or today
    if ends is not None and failed > ends:
        against.append(f"{_of(group)}cover ended on {ends} ({days_between(today, ends)})")
    elif ends is not None:
        reasons.append(f"{_of(group)}until {ends} ({days_between(today, ends)})")
    _exclusions(programme, facts, group, against, missing)
    claim_by = after_days(facts.failed, programme.claim_days) if facts.failed else None
    if claim_by is None:
        missing.append("the day it failed, from which the days for the claim are counted")
    elif facts.claimed is not None:
        if claim_by < facts.claimed:
            against.append(
                f"the claim had to be sent by {claim_by}, and went out on {facts.claimed}"
            )
    elif claim_by < today:
        against.append(f"the claim had to be sent by {claim_by} ({days_between(today, claim_by)})")
    else:
        reasons.append(f"send the claim by {claim_by} ({days_between(today, claim_by)})")
    doubted = _doubted(programme, facts, group, reasons, missing)
    crossed = _crossed(facts)
    missing += crossed
    lacking = [p for p in programme.proof if p not in facts.proof]
    missing += [f"proof: {p}" for p in lacking]
    if against:
        return Cover("not covered", tuple(against), tuple(missing), ends, claim_by, notices)
    needed = _approval(programme, facts, reasons)
    settled = (
        ends is not None and not lacking and not doubted and not crossed
        and not _unanswered(programme, facts, group)
    )  # fmt: skip
    answer: Answer = "can't say" if not settled else "needs approval" if needed else "covered"
    return Cover(answer, tuple(reasons), tuple(missing), ends, claim_by, notices)


def _crossed(facts: Facts) -> list[str]:
    """Days that cannot all be right: made, then bought or handed over, then failed."""
    told = [("it was made", facts.made), ("it was bought", facts.purchased),
            ("it was handed over", facts.delivered), ("it failed", facts.failed)]  # fmt: skip
    known = [(words, day) for words, day in told if day is not None]
    found = []
    for n, (first, day) in enumerate(known):
        for then, later in known[n + 1 :]:
            both_sales = first == "it was bought" and then == "it was handed over"
            if later < day and not both_sales:  # some machines are paid for after they are handed
                found.append(f"which day is right: {then} on {later}, before {first} on {day}")
    return found


def _of(group: str) -> str:
    return "" if group == REST else f"{group}: "


def _ends(
    programme: Programme, facts: Facts, against: list[str], reasons: list[str], missing: list[str]
) -> date | None:
    if facts.use is None:
        missing.append("what it is used for: household, commercial or rental")
        return None
    line = programme.line_for(facts.part, facts.use)
    if line is None or line.months == 0:
        group = programme.group_of(facts.part)
        against.append(f"{programme.words} does not cover {group} in {facts.use} use")
        return None
    start = _start(line, facts)
    if start is None:
        missing.append(f"the day of {line.counted_from}, from which {line.months} months run")
        return None
    return after_months(start, line.months)


def _start(line: CoverLine, facts: Facts) -> date | None:
    days = {"purchase": facts.purchased, "delivery": facts.delivered, "manufacture": facts.made}
    return days[line.counted_from]


def _exclusions(
    programme: Programme, facts: Facts, group: str, against: list[str], missing: list[str]
) -> None:
    answers = facts.answers or {}
    for one in programme.exclusions:
        if group in one.except_groups:
            continue
        if answers.get(one.id):
            against.append(one.words)
        elif one.id not in answers:
            missing.append(one.ask)


def _doubted(
    programme: Programme, facts: Facts, group: str, reasons: list[str], missing: list[str]
) -> bool:
    """Questions answered no though the cause found speaks of the same: whether one is the very
    same question. A cause that only speaks of the same matter is a reason to ask again."""
    answers, same = facts.answers or {}, False
    for one in programme.exclusions:
        if group in one.except_groups or answers.get(one.id) is not False:
            continue
        asked = f"{one.id} {one.ask} {one.words}"
        for id_, words in facts.causes:
            said = f"{one.ask!r} was answered no, but the cause found is {words!r}"
            if id_ == one.id:
                missing.append(f"{said}: answer one of them anew")
                same = True
                break
            if matters_of(asked) & matters_of(words):
                reasons.append(f"ask again: {said}")
                break
    return same


def matters_of(text: str) -> frozenset[str]:
    """What words of an exclusion or a cause speak of; the usual exclusions (common practice)."""
    plain = text.casefold()
    return frozenset(m for m, stems in MATTERS.items() if any(s in plain for s in stems))


def _unanswered(programme: Programme, facts: Facts, group: str) -> bool:
    answers = facts.answers or {}
    return any(e.id not in answers and group not in e.except_groups for e in programme.exclusions)


def _approval(programme: Programme, facts: Facts, reasons: list[str]) -> bool:
    limit = programme.approval_above
    if limit is None or facts.price is None or facts.price <= limit:
        return False
    if facts.approved_up_to is not None and facts.price <= facts.approved_up_to:
        by = f" ({facts.approved_by})" if facts.approved_by else ""
        reasons.append(f"approved up to {facts.approved_up_to} {programme.currency}{by}")
        return False
    reasons.append(
        f"{facts.price} {programme.currency} is above {limit}: ask the programme before the work"
    )
    return True
