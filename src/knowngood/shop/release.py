"""Whether a machine may be handed back: its family's checks, each pass, fail or not applicable.

A failed check holds the machine, and so does a safety check that is blank or was made before the
machine was opened again, and a proof of the rebuild that was not good. An override needs a name
and a reason; it prints on the papers.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final, Literal

from knowngood.job.events import CheckResult
from knowngood.job.job import Job
from knowngood.machines.machine import Machine, ReleaseCheck, Stage

Result = Literal["pass", "fail", "not applicable", "blank"]

RUNS: Final[tuple[Stage, ...]] = ("still", "run", "full")
"""Stages with the source of energy in."""

PROOFS: Final = ("discharge", "again", "prove", "pinch", "direction")
"""Lines of a rebuild that hold the machine while they stand as not good."""


@dataclass(frozen=True, slots=True)
class Made:
    """A check as it was made, in the order of the record (``seq``)."""

    check: str
    result: CheckResult
    reason: str = ""
    by: str = ""
    seq: int = 0
    words: str = ""


@dataclass(frozen=True, slots=True)
class Override:
    """Somebody lets the machine go in spite of these checks."""

    checks: tuple[str, ...]
    by: str
    reason: str
    seq: int = 0


@dataclass(frozen=True, slots=True)
class Standing:
    """A check as it stands. ``stale``: what was opened since, so that it counts as blank."""

    check: str
    words: str
    safety: bool
    result: Result
    reason: str = ""
    by: str = ""
    caution: str = ""
    source: str = ""
    stale: str = ""
    override: Override | None = None
    stage: Stage = "run"

    @property
    def wrong(self) -> bool:
        """It holds the machine unless somebody overrides it."""
        return self.result == "fail" or (self.safety and self.result == "blank")

    @property
    def holds(self) -> bool:
        """It holds the machine now."""
        return self.wrong and self.override is None


@dataclass(frozen=True, slots=True)
class Release:
    """All checks of a machine."""

    checks: tuple[Standing, ...]

    @property
    def holding(self) -> tuple[Standing, ...]:
        """Checks that hold the machine, failed ones first."""
        held = [c for c in self.checks if c.holds]
        return tuple(sorted(held, key=lambda c: c.result != "fail"))

    @property
    def held(self) -> bool:
        return bool(self.holding)

    @property
    def overridden(self) -> tuple[Standing, ...]:
        return tuple(c for c in self.checks if c.wrong and c.override is not None)

    @property
    def blank(self) -> tuple[Standing, ...]:
        return tuple(c for c in self.checks if c.result == "blank")

    @property
    def words(self) -> str:
        """ "held: 1 failed, 2 safety checks not made", or that it may go."""
        failed = sum(c.result == "fail" for c in self.holding)
        blank = len(self.holding) - failed
        if self.held:
            made = f"{blank} safety check{'' if blank == 1 else 's'} not made"
            counts = [f"{failed} failed" if failed else "", made if blank else ""]
            return f"held: {', '.join(c for c in counts if c)}"
        if self.overridden:
            count = len(self.overridden)
            return f"may go by override of {count} check{'' if count == 1 else 's'}"
        return "may go" if self.checks else "no release checks are listed for this machine"


def release_of(
    checks: Sequence[ReleaseCheck],
    made: Iterable[Made],
    overrides: Iterable[Override] = (),
    opened: Mapping[str, int] | None = None,
) -> Release:
    """How the checks stand. ``opened``: words of teardown steps and when (seq) each was last
    opened. A check made that the file no longer has stands as it is; what is not applicable
    without a reason is blank. An override counts for what stood when it was given."""
    latest: dict[str, Made] = {}
    for one in sorted(made, key=lambda m: m.seq):
        latest[one.check] = one
    known = {c.id for c in checks}
    gone = [ReleaseCheck(m.check, m.words or m.check) for m in latest.values()
            if m.check not in known]  # fmt: skip
    given = sorted(overrides, key=lambda o: o.seq)
    last = max((opened or {}).items(), key=lambda item: item[1], default=("", 0))
    found = []
    for check in (*checks, *gone):
        mine = latest.get(check.id)
        override = next((o for o in reversed(given) if check.id in o.checks and _usable(o)), None)
        since = max(mine.seq if mine else 0, last[1])
        if override is not None and override.seq < since:
            override = None
        found.append(_standing(check, mine, last, override))
    return Release(tuple(found))


def _standing(
    check: ReleaseCheck, made: Made | None, last: tuple[str, int], override: Override | None
) -> Standing:
    result: Result = "blank"
    reason = by = stale = ""
    if made is not None:
        result, reason, by = made.result, made.reason, made.by
        if result == "not applicable" and not reason.strip():
            result = "blank"
        if result in ("pass", "not applicable") and made.seq < last[1]:
            result, stale = "blank", f"{last[0]} came off after it"
    return Standing(
        check.id, check.words, check.safety, result, reason, by, check.caution, check.source,
        stale, override, check.stage,
    )  # fmt: skip


def _usable(override: Override) -> bool:
    return bool(override.by.strip()) and bool(override.reason.strip())


def runs_stopped(release: Release) -> tuple[Standing, ...]:
    """Failed checks that nobody took on: while there is one, nothing further is run."""
    return tuple(c for c in release.holding if c.result == "fail")


def release_of_job(machine: Machine, job: Job) -> Release:
    """How the release checks of a job stand, with what was overridden at pickup or bench."""
    made = [Made(c.check, c.result, c.reason, c.at.by, c.at.seq, c.words) for c in job.release]
    made += wrong_proofs(job)
    known = [*machine.release, *(ReleaseCheck(m.check, m.words or m.check) for m in made)]
    overrides = [
        Override(tuple(c.id for c in known if _named(c, event.checks)), event.by, event.reason,
                 at.seq)
        for event, at in job.counter.overrides
    ]  # fmt: skip
    opened: dict[str, int] = {}
    for step in job.steps:
        opened[step.words or step.step] = step.opened.seq
    return release_of(machine.release, made, overrides, opened)


def wrong_proofs(job: Job) -> tuple[Made, ...]:
    """Proofs made while it was put together that stand as not good, each as a failed check by the
    name of its line."""
    return tuple(
        Made(line, "fail", one.text or "not good", one.at.by, one.at.seq, one.words)
        for line, one in job.apart.ticks.items()
        if one.result == "not good" and line.partition(":")[0] in PROOFS
    )


def _named(check: ReleaseCheck, said: Iterable[str]) -> bool:
    """Whether a check is among these, by id or words ("Guard closes: blank")."""
    return any(s in (check.id, check.words) or s.startswith(f"{check.words}:") for s in said)
