"""What must read good dead before anything is made live.

A short behind the terminals that meets a charged pack makes an arc and a fire, so the input is
proven dead first (the sheets' own caution: only after the input is known not to be shorted;
common practice, maker's own order overrides). The order alone is no gate: what was read has to be
good as well, and a reading that fits no suspect is taken once more before it counts.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from typing import Final

from knowngood.diagnosis.views import Judged
from knowngood.isolate.slips import SUSPICIOUS
from knowngood.machines.machine import Machine, Test

DEAD: Final = frozenset({"ohms", "diode"})
SETTLES: Final = 2  # readings after which one too close to tell is taken as it is


def not_live_yet(machine: Machine, judged: Sequence[Judged]) -> Mapping[str, str]:
    """Live tests held back, with the reason: a dead test that comes before them was read and is
    not good. One that was not read yet holds them back by the order of the tests."""
    live = {c.id for c in machine.conditions if c.energised}
    dead = {t.id: t for t in machine.tests if t.quantity in DEAD and t.condition not in live}
    bad = {j.test: j for j in judged if j.test in dead and not _settled(j)}
    held = {}
    for test in machine.tests:
        first = [bad[id] for id in test.after if id in bad]
        if test.condition in live and first:
            held[test.id] = _why(first[0], dead[first[0].test])
    return held


def _settled(one: Judged) -> bool:
    """Good, or too close to tell each time it was read."""
    return one.slip_chance < SUSPICIOUS and (
        one.verdict == "good" or (one.verdict == "can't tell" and len(one.items) >= SETTLES)
    )


def _why(one: Judged, test: Test) -> str:
    return f"nothing live before {test.question} reads good; it reads {one.reads}"


def read_once_more(judged: Sequence[Judged], held: Collection[str]) -> tuple[str, ...]:
    """Tests to take again before anything live: read once, and no suspect explains the reading.
    None where nothing live waits for it."""
    if not held:
        return ()
    return tuple(j.test for j in judged if len(j.items) == 1 and not _settled(j)
                 and (j.slip_chance >= SUSPICIOUS or j.verdict == "can't tell"))  # fmt: skip
