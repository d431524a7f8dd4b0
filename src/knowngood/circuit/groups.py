"""States of many relays and modules that agree with themselves, group by group.

Which of them hang on which is told by switching each alone, from the state at hand, from all on and
from all off; an influence that shows only where several are switched at once is not seen. Where one
leads round to itself (a relay that holds itself, two that lock each other out) it is a group, and
all combinations of a group are tried while the others follow. States of circuits in which no group
has two are then the only ones.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import numpy as np

from knowngood.circuit.frame import Bools

Says = Callable[[Bools], tuple[Bools, Bools]]
"""States (k, rules) to what each rule makes of them (k, rules), and which have no solution (k,)."""

_ROUNDS: Final = 200


class Undecided(ValueError):
    """A group without a state that agrees with itself, or of more members than are tried.
    ``members``: the places of their rules."""

    def __init__(self, members: list[int], tried: bool) -> None:
        super().__init__(f"a group of {len(members)}")
        self.members, self.tried = members, tried


def states_of(says: Says, held: np.ndarray, known: Bools | None, most: int) -> list[Bools]:
    """The state that agrees with itself, or those of the first group that has several. ``held``
    (rules,): -1 free, else how it stands; ``known``: one such state. Raises Undecided for a group
    that has none, or more than ``most`` members."""
    free = held < 0
    at = _one_at_a_time(says, held) if known is None else known
    groups = _groups(_influence(says, held, at), free)
    alone = free.copy()
    alone[[i for members in groups for i in members]] = False
    several: list[Bools] = []
    for members in groups:
        if len(members) > most:
            raise Undecided(members, tried=False)
        here = _tried(says, at, alone, members)
        if not here:
            raise Undecided(members, tried=True)
        at = here[0]
        several = several or (here if len(here) > 1 else [])
    if several:
        return several
    told, wrong = says(at[None])
    apart = np.nonzero(free & (told[0] != at))[0]
    if wrong[0] or len(apart):
        raise Undecided(apart.tolist() or np.nonzero(free)[0].tolist(), tried=False)
    return [at]


def _one_at_a_time(says: Says, held: np.ndarray) -> Bools:
    """From all off, one switched after the other, until all agree or it goes on for ever."""
    free = held < 0
    on = np.asarray(held == 1)
    last = -1
    for _ in range(_ROUNDS):
        told, _ = says(on[None])
        apart = np.nonzero(free & (told[0] != on))[0]
        if not len(apart):
            break
        last = int(next((i for i in apart if i > last), apart[0]))
        on = on.copy()
        on[last] = not on[last]
    return on


def _influence(says: Says, held: np.ndarray, at: Bools) -> Bools:
    """(rules, rules): switching the first changes what the second says."""
    free = np.nonzero(held < 0)[0]
    found = np.zeros((len(held), len(held)), dtype=bool)
    for begin in (at, np.where(held >= 0, held == 1, True), np.asarray(held == 1)):
        flipped = np.repeat(begin[None], len(free) + 1, axis=0)
        flipped[np.arange(len(free)), free] ^= True
        told, wrong = says(flipped)
        if not wrong[-1]:
            found[free] |= (told[:-1] != told[-1]) & ~wrong[:-1, None]
    return found


def _groups(influence: Bools, free: Bools) -> list[list[int]]:
    """Free rules that lead round to themselves, those that lead to each other together; a group
    comes after those that lead to it."""
    reach = influence & free[:, None] & free[None, :]
    while True:
        longer = reach | ((reach.astype(np.int64) @ reach) > 0)
        if np.array_equal(longer, reach):
            break
        reach = longer
    both = reach & reach.T
    groups = {tuple(np.nonzero(both[i])[0].tolist()) for i in np.nonzero(both.diagonal())[0]}
    return [list(g) for g in sorted(groups, key=lambda g: (int(reach[:, g[0]].sum()), g))]


def _tried(says: Says, at: Bools, follows: Bools, members: list[int]) -> list[Bools]:
    """The states in which these members agree with themselves, among all of them; those that
    ``follows`` (rules,) say go with them, the others stand as they are."""
    combos = (np.arange(1 << len(members))[:, None] >> np.arange(len(members))) & 1 == 1
    on = np.repeat(at[None], len(combos), axis=0)
    on[:, members] = combos
    for _ in range(len(at) + 1):
        told, wrong = says(on)
        then = np.where(follows, told, on)
        if np.array_equal(then, on):
            break
        on = then
    judged = follows.copy()
    judged[members] = True
    agree = ~wrong & (told == on)[:, judged].all(axis=1)
    return [on[i] for i in np.nonzero(agree)[0]]
