"""One thing that somebody has to do, as Paperwork lists it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Final, Literal

from knowngood.shop.days import days_between

SOON: Final = 7  # days before a last day from which it is said first
UNCOLLECTED: Final = "uncollected"


@dataclass(frozen=True, slots=True)
class Due:
    """`by`: its last day, None where there is none; `job` "" where it belongs to none, as a late
    order. `about`: "uncollected" where the local law of unclaimed goods is to be asked.
    `lacks`: what is missing before it can be done."""

    job: str
    number: str
    words: str
    by: date | None
    late: bool
    about: Literal["", "uncollected"] = ""
    lacks: tuple[str, ...] = ()

    def line(self, today: date) -> str:
        """ "26-0004: send the claim, still missing: why it failed (in 3 days)"; after "its day was"
        it goes on: "3 days ago"."""
        lacks = f", still missing: {', '.join(self.lacks)}" if self.lacks else ""
        return self._dated(f"{self.words}{lacks}", today)

    def short(self, today: date) -> str:
        """The line without what is missing, for a screen that says that beside it."""
        return self._dated(self.words, today)

    def _dated(self, words: str, today: date) -> str:
        when = days_between(today, self.by) if self.by else ""
        if when and not words.endswith(" was"):
            when = f"({when})"
        return f"{self.number}: {words} {when}".rstrip()
