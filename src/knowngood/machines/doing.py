"""What the machine itself must do for a test, and what a complaint says it does not.

An engine that does not crank cannot run: tests that need it to are not offered under that
complaint, until somebody saw it run (`isolate.advice`). Here: does the file say so soundly?
"""

from __future__ import annotations

from collections.abc import Iterator

from knowngood.machines.machine import Complaint, Machine, Test
from knowngood.machines.nearest import did_you_mean
from knowngood.machines.safety import Breach

LIKELY = 0.5
"""A fault that makes the complaint at least this often must show without what cannot be."""


def needed(machine: Machine, test: Test) -> tuple[str, ...]:
    """What the machine must do for this test, by its condition and its own."""
    conditions = {c.id: c.does for c in machine.conditions}
    return tuple(dict.fromkeys((*conditions.get(test.condition, ()), *test.does)))


def doing_breaches(machine: Machine) -> Iterator[Breach]:
    """Words that lead nowhere, and tests that see by a number, or what they need themselves."""
    known = list(dict.fromkeys(d for t in machine.tests for d in needed(machine, t)))
    for c in machine.complaints:
        for word in c.cannot:
            if word not in known:
                yield (("complaints", c.id, "cannot"), f"{c.id} says that it cannot: {word}, which"
                       " no condition or test needs", did_you_mean(word, known))
        for t in machine.tests:
            barred = set(needed(machine, t)) & set(c.cannot) if t.id in c.shown_by else set()
            for word in sorted(barred):
                yield (("complaints", c.id, "shown_by"), f"{c.id} is shown by {t.id}, which needs"
                       f" what {c.id} says it cannot: {word}",
                       "Choose a test that can be taken then")
    for t in machine.tests:
        for word in t.sees:
            if word not in known:
                yield (("tests", t.id, "sees"), f"{t.id} sees: {word}, which no condition or test"
                       " needs", did_you_mean(word, known))
            elif word in needed(machine, t):
                yield (("tests", t.id, "sees"), f"{t.id} sees what it needs itself: {word}",
                       "Take it out of sees: or out of does:")
        if t.sees and t.quantity != "yes_no":
            yield (("tests", t.id, "sees"), f"{t.id} is no question of yes or no",
                   "Let a yes/no test see it, one that says good when the machine does it")


def doing_notes(machine: Machine) -> Iterator[Breach]:
    """Likely faults of a complaint that no test shows which can be taken under it. ``machine`` is
    wired."""
    for c in machine.complaints:
        if not c.cannot:
            continue
        left = [t for t in machine.tests if not set(needed(machine, t)) & set(c.cannot)]
        for fault in _likely(c):
            if not any(t.expect.get(fault, t.good) != t.good for t in left):
                yield (("complaints", c.id, "cannot"), f"{fault} makes {c.id}, and no test shows it"
                       f" without: {', '.join(c.cannot)}",
                       f"Add a test that can be taken then, or give {fault} less in {c.id}")


def _likely(complaint: Complaint) -> list[str]:
    return [f for f, chance in complaint.given.items() if chance >= LIKELY]
