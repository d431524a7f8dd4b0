"""What a job has told so far, as the diagnosis reads it. Plain data."""

from __future__ import annotations

from dataclasses import dataclass

from knowngood.isolate.belief import Item


@dataclass(frozen=True, slots=True)
class Acceptance:
    """A service part taken as good on a person's word."""

    part: str
    by: str


@dataclass(frozen=True, slots=True)
class Evidence:
    """Readings that stand (withdrawn ones left out), accounts, and the state of the bench.

    ``opened``: teardown steps open now. ``skipped``: tests passed over. ``called``: the part that
    the person named. ``decided``: the part is decided, so tests that alter it may be offered.
    ``unsafe``: what is wrong with the packs by the counter's sheet ("swollen"), where no sound one
    is left; ``which``: else which pack is used and which is left alone, in words.
    """

    items: tuple[Item, ...] = ()
    told: tuple[str, ...] = ()
    accepted: tuple[Acceptance, ...] = ()
    called: str | None = None
    opened: frozenset[str] = frozenset()
    skipped: frozenset[str] = frozenset()
    decided: bool = False
    unsafe: tuple[str, ...] = ()
    which: str = ""

    @property
    def read(self) -> frozenset[str]:
        """Tests that have been read; "can't tell" and the like count as passed over."""
        return frozenset(i.test for i in self.items if i.reading.is_evidence)

    @property
    def passed_over(self) -> frozenset[str]:
        """Tests that are not to be asked for: not read, or read and not wanted once more."""
        last = {i.test: i.reading for i in self.items}
        silent = {test for test, reading in last.items() if not reading.is_evidence}
        return frozenset(silent | self.skipped)
