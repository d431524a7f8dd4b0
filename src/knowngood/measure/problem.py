"""A mistake in a person's file: a value that is collected, not an exception."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Problem:
    """What is wrong, where, and what to write instead.

    `line` counts from 1; 0 means the file as a whole.
    """

    file: str
    line: int
    message: str
    fix: str = ""

    def __str__(self) -> str:
        place = f"{self.file}, line {self.line}" if self.line else self.file
        return f"{place}: {self.message}" + (f". {self.fix}" if self.fix else "")
