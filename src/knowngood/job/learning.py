"""What a job takes from the shop's earlier ones, and what was answered about its own readings.

What the shop has learned is never written down as such: it follows from the closed jobs. A job only
pins the set it is judged with, by digest, as it pins its machine file.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Literal

from knowngood.job.chapter import Chapter
from knowngood.job.plain import Stamp

Standing = Literal["keep", "wrong", "differs"]

STANDING_WORDS: Mapping[str, str] = {
    "keep": "a good reading, kept",
    "wrong": "a wrong reading",
    "differs": "right, this machine differs",
}


@dataclass(frozen=True, slots=True)
class LessonsPinned:
    """From here on the job is judged with the shop's own readings, counts and minutes kept under
    this digest; "" goes back to the machine file alone. `words`: what they are."""

    digest: str
    words: str = ""


@dataclass(frozen=True, slots=True)
class ReadingStands:
    """A known-good reading that stood out was asked about. `keep`: it is good and counts; `wrong`:
    a slip, it does not count; `differs`: right, but this machine is not like the others."""

    reading_id: str
    standing: Standing
    reason: str = ""


@dataclass(frozen=True, slots=True)
class WarmthNoted:
    """How warm it is at the bench, degrees Celsius; holds for what is read from here on."""

    celsius: float


LearningEvent = LessonsPinned | ReadingStands | WarmthNoted


@dataclass(frozen=True, slots=True)
class Learning:
    """`warmth`: (seq, degrees Celsius) in the order noted."""

    digest: str = ""
    words: str = ""
    pinned: Stamp | None = None
    standing: Mapping[str, ReadingStands] = field(default_factory=dict)
    warmth: tuple[tuple[int, float], ...] = ()

    def celsius_at(self, seq: int) -> float | None:
        """How warm it was when entry `seq` was written; None when nobody noted it."""
        known = [celsius for at, celsius in self.warmth if at <= seq]
        return known[-1] if known else None


def _pinned(it: Learning, event: LessonsPinned, at: Stamp) -> Learning:
    return replace(it, digest=event.digest, words=event.words, pinned=at)


def _stands(it: Learning, event: ReadingStands, at: Stamp) -> Learning:
    return replace(it, standing={**it.standing, event.reading_id: event})


def _warmth(it: Learning, event: WarmthNoted, at: Stamp) -> Learning:
    return replace(it, warmth=(*it.warmth, (at.seq, event.celsius)))


_FOLD: Mapping[type[Any], Callable[[Learning, Any, Stamp], Learning]] = {
    LessonsPinned: _pinned,
    ReadingStands: _stands,
    WarmthNoted: _warmth,
}

_WORDS: Mapping[type[Any], Callable[[Any], str]] = {
    LessonsPinned: lambda e: (
        f"judged with {e.words or 'what this shop has learned'}"
        if e.digest
        else "judged by the machine file alone"
    ),
    ReadingStands: lambda e: (
        f"asked about a reading that stands out: {STANDING_WORDS.get(e.standing, e.standing)}"
        + (f" ({e.reason})" if e.reason else "")
    ),
    WarmthNoted: lambda e: f"{e.celsius:g} degrees Celsius at the bench",
}

CHAPTER: Chapter[Learning] = Chapter(Learning(), _FOLD, _WORDS)
