"""What a job is made of, each thing with the stamp of the event that brought it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Final

from knowngood.job.events import Answer, CheckResult, DetailsNoted, Grade
from knowngood.job.plain import Stamp
from knowngood.measure.reading import Reading

ANYWAY: Final = "Closed anyway: "
"""What stands before the reason for which a job was closed over something."""
LEFT: Final = ". Left: "
"""What stands behind that reason, before what was left undone."""
NO_REASON: Final = ("", "undone", "taken back")
"""What says nothing of why something was taken back; a reason may still follow."""

__all__ = [
    "Cause",
    "Check",
    "Closed",
    "Decision",
    "JobReading",
    "Look",
    "MinutesSpent",
    "NamedPart",
]
__all__ += ["Note", "Picture", "Stamp", "TeardownDone", "ToldThing"]


@dataclass(frozen=True, slots=True)
class JobReading:
    """A reading on the job, with what was said about it, and whether it still stands."""

    id: str
    test: str
    question: str
    text: str
    reading: Mapping[str, Any]
    condition: str
    circumstance: str
    visit: str
    grade: Grade
    taken: Stamp
    verdict: str = ""
    sentence: str = ""
    shown: Mapping[str, Any] = field(default_factory=dict)
    judged: Stamp | None = None
    withdrawn: Stamp | None = None
    reason: str = ""
    corrects: str = ""
    corrected_by: str = ""

    @property
    def live(self) -> bool:
        return self.withdrawn is None

    def value(self) -> Reading:
        """The reading as a number with its uncertainty. Raises ValueError if it is no reading."""
        return Reading.from_dict(self.reading)


@dataclass(frozen=True, slots=True)
class ToldThing:
    id: str
    words: str
    at: Stamp


@dataclass(frozen=True, slots=True)
class NamedPart:
    """A part accepted as good, or called as the bad one, by a person."""

    part: str
    words: str
    by: str
    at: Stamp


@dataclass(frozen=True, slots=True)
class TeardownDone:
    """A step taken; `closed` once it was put back."""

    step: str
    words: str
    minutes: float
    where: str
    opened: Stamp
    closed: Stamp | None = None

    @property
    def is_open(self) -> bool:
        return self.closed is None


@dataclass(frozen=True, slots=True)
class MinutesSpent:
    what: str
    minutes: float
    measured: bool
    at: Stamp


@dataclass(frozen=True, slots=True)
class Picture:
    digest: str
    caption: str
    about: str
    at: Stamp


@dataclass(frozen=True, slots=True)
class Cause:
    cause: str
    words: str
    ask: str
    answer: Answer
    evidence: str
    mend: str
    by: str
    at: Stamp


@dataclass(frozen=True, slots=True)
class Decision:
    part: str
    words: str
    number: str
    proven: bool
    sentence: str
    proof: Mapping[str, Any]
    at: Stamp


@dataclass(frozen=True, slots=True)
class Check:
    check: str
    words: str
    result: CheckResult
    reason: str
    at: Stamp


@dataclass(frozen=True, slots=True)
class Note:
    text: str
    at: Stamp


@dataclass(frozen=True, slots=True)
class Details:
    """What was noted after check-in; "" leaves what stands."""

    noted: DetailsNoted
    at: Stamp


@dataclass(frozen=True, slots=True)
class Closed:
    outcome: str
    words: str
    at: Stamp

    @property
    def named(self) -> str:
        """The outcome, and the reason where it was closed over something."""
        _, anyway, reason = self.words.partition(ANYWAY)
        reason = reason.partition(LEFT)[0].strip() if anyway else ""
        return f"{self.outcome} ({reason})" if reason else self.outcome


@dataclass(frozen=True, slots=True)
class Look:
    """Something decided or checked that rested on what has changed since.

    `what` names it, `why` says what changed, `at` is the change.
    """

    what: str
    why: str
    at: Stamp
