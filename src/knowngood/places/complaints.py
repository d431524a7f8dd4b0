"""From the customer's words to the complaints of the machine's file, and how to see it here."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Protocol, TypeVar

import numpy as np

from knowngood.diagnosis.assess import Setup
from knowngood.machines.machine import Complaint, Machine, Test
from knowngood.measure.units import DIMENSION_OF, format_value
from knowngood.places.gather import View

_PLAIN = set(
    re.findall(
        "[a-z]+",
        "a an and are as at be but by do does for from has have i in is it its just me my of off "
        "on only or so that the then there this to up was when while will with over out very like "
        "even any at all after again",
    )
)
_NOT = set(
    re.findall("[a-z]+", "no not never without wont cant doesnt dont isnt didnt wouldnt nor")
)
_BREAK = {"but", "and"}
_ALIKE = {
    "not start": "dead nothing", "not crank": "not-start", "not stop": "run",
    "not work": "dead nothing not-start", "not run": "dead nothing not-start",
    "dies": "stops cuts", "die": "stops cuts", "quits": "stops cuts", "quit": "stops cuts",
    "stalls": "stops cuts dies", "shuts": "stops cuts", "hill": "slopes", "hills": "slopes",
    "slope": "slopes", "bump": "bumps", "rough": "bumps", "bogs": "weak", "slow": "weak slows",
    "slowly": "slow", "power": "weak", "nothing": "dead", "fold": "folded", "dead": "nothing",
    "intermittent": "cuts stops", "bumpy": "bumps", "smoke": "smell", "turnover": "crank",
    "shakes": "vibrates", "shaking": "vibrates", "shake": "vibrates", "vibrates": "shakes",
    "vibrating": "shakes", "rattles": "shakes", "ticks": "clicks", "charging": "charge",
}  # fmt: skip


def stems(text: str, alike: bool = True) -> set[str]:
    """The telling words of a text, endings cut off; the first one after a "not" bears it:
    "no click" is `not-click`, so that it is not taken for one that clicks. With those that mean
    about the same, unless not `alike`."""
    plain = re.sub(r"\b(turn|spin)(s|ing|ed)? over\b", "turnover", text.casefold())
    words = re.findall(r"[a-z]+|[,.;:-]", plain.replace("'", "").replace("’", ""))
    found: set[str] = set()
    negated = False
    for word in words:
        if word in _NOT:
            negated = True
        elif word in _BREAK or not word.isalpha():
            negated = False
        elif word not in _PLAIN:
            found.add(("not-" if negated else "") + _stem(word))
            near = _ALIKE.get(f"not {_stem(word)}" if negated else word, "") if alike else ""
            found |= {_signed(w) for w in near.split()}
            negated = False
    return found


def _signed(word: str) -> str:
    return "not-" + _stem(word[4:]) if word.startswith("not-") else _stem(word)


def _stem(word: str) -> str:
    for ending in ("ing", "ed", "es", "ly", "s"):
        if word.endswith(ending) and len(word) - len(ending) >= 3:
            word = word.removesuffix(ending)
            break
    if len(word) > 3 and word[-1] == word[-2]:
        word = word[:-1]
    return word[:-1] if len(word) > 3 and word.endswith("e") else word


def _opposite(word: str) -> str:
    return word[4:] if word.startswith("not-") else "not-" + word


CLEAR = 0.5  # by how much the best must lead: half a word that no other complaint has


class Worded(Protocol):
    """Something with an id and words."""

    @property
    def id(self) -> str: ...
    @property
    def words(self) -> str: ...


W = TypeVar("W", bound=Worded)


def closest(machine: Machine, words: str) -> tuple[Complaint, ...]:
    """Every complaint, one whose whole name the customer said first, then the one that shares most
    with the words; words that few complaints use count for more, and a complaint that says the
    opposite goes back."""
    return closest_of(machine.complaints, words)


def leads(machine: Machine, words: str) -> bool:
    """Whether the first of `closest` is so clearly the one that it may be offered as such."""
    scores = _scores(machine.complaints, words)
    (named, best), *others = sorted(scores, reverse=True)
    if not others:
        return True
    also_named, second = others[0]
    strongest = max(score for _, score in others)
    return best >= strongest if named and not also_named else best - second >= CLEAR


def closest_of(complaints: Sequence[W], words: str, sharing: bool = False) -> tuple[W, ...]:
    """The same for any list of complaints; `sharing`: only those that share a telling word."""
    said, each, scores = stems(words), _each(complaints), _scores(complaints, words)
    order = sorted(range(len(each)), key=lambda i: (not scores[i][0], -scores[i][1], i))
    return tuple(complaints[i] for i in order if not sharing or said & each[i])


def _each(complaints: Sequence[Worded]) -> list[set[str]]:
    return [stems(f"{c.words} {c.id.replace('_', ' ')}") for c in complaints]


def _scores(complaints: Sequence[Worded], words: str) -> list[tuple[bool, float]]:
    """Of each whether all of its name or its words was said, and how much it shares."""
    said, plain, each = stems(words), stems(words, alike=False), _each(complaints)

    def score(place: int) -> float:
        shared = said & each[place]
        against = sum(_opposite(word) in each[place] for word in said)
        return sum(1 / sum(word in other for other in each) for word in shared) - against

    def named(one: Worded) -> bool:
        names = (stems(text, alike=False) for text in (one.id.replace("_", " "), one.words))
        return any(name and name <= plain for name in names)

    return [(named(one), score(place)) for place, one in enumerate(complaints)]


AS_TELLING = 0.1  # of the chance to show it


def verifying_test(setup: Setup, complaint: str = "") -> Test | None:
    """How this complaint is seen here: as the machine's file says for it; else of the tests that
    show it about as likely as the likeliest the shortest. None when the file has none."""
    tests = {t.id: t for t in setup.machine.tests}
    for one in setup.machine.complaints:
        if one.id == complaint and one.shown_by:
            return tests[one.shown_by[0]]
    chances = [(_shows(setup, t), t) for t in setup.machine.tests if t.verifies]
    most = max((chance for chance, _ in chances), default=0.0)
    near = [(t.minutes, -chance, t) for chance, t in chances if chance >= most - AS_TELLING]
    return min(near, key=lambda found: found[:2])[2] if near else None


def ways_to_show(machine: Machine, complaint: str = "") -> frozenset[str]:
    """Ids of the tests after one of which the complaint counts as tried."""
    named = [i for c in machine.complaints if c.id == complaint for i in c.shown_by]
    return frozenset([*named, *(t.id for t in machine.tests if t.verifies)])


def _shows(setup: Setup, test: Test) -> float:
    """The chance that a machine with this complaint does not pass the yes/no test."""
    table = setup.bench.table
    row = table.rows[test.id]
    prior = np.array([h.weight for h in table.hypotheses])
    shows, yes = table.shows_at(row.circumstance), row.mixture.yes
    p = shows * yes[row.index] + (1 - shows) * yes[row.good]
    return float(prior @ (1 - p if yes[row.good] >= 0.5 else p))


def look_list(machine: Machine) -> tuple[Test, ...]:
    """What can be seen without a tool and without undoing a screw: yes/no looks, nothing live."""
    screwed = {t.id for t in machine.teardown if t.fasteners or t.role in ("shell", "discharge")}
    conditions = {c.id: c for c in machine.conditions}
    found = []
    for test in machine.tests:
        condition = conditions[test.condition]
        free = not (screwed & _all_needs(machine, condition.open)) and not condition.energised
        if test.look and not test.verifies and test.quantity == "yes_no" and free:
            found.append(test)
    return tuple(found)


def looks_left(view: View) -> tuple[Test, ...]:
    """Of that list what has not been looked at in this job."""
    done = view.evidence.read | view.evidence.passed_over
    return tuple(t for t in look_list(view.machine) if t.id not in done)


def _all_needs(machine: Machine, steps: Sequence[str]) -> set[str]:
    needs = {t.id: t.needs for t in machine.teardown}
    found: set[str] = set()
    todo = list(steps)
    while todo:
        step = todo.pop()
        if step not in found:
            found.add(step)
            todo += needs.get(step, ())
    return found


def good_answer(test: Test) -> str:
    """ "yes" or "no": what a good machine answers."""
    return "yes" if test.good.yes is None or test.good.yes >= 0.5 else "no"


def as_expected(test: Test) -> str | None:
    """The good reading of a test as text that can be read: yes/no, OL, or the good range.

    None when "as expected" says too little.
    """
    if test.quantity == "yes_no":
        return good_answer(test)
    dimension = DIMENSION_OF[test.quantity]
    if test.limits is not None:
        low, high = test.limits.low, test.limits.high
        if low is not None and high is not None:
            return f"{format_value(low, dimension)} to {format_value(high, dimension)}"
        if high is not None and high > 0:
            return f"< {format_value(high, dimension)}"
        if low is not None:
            return f"> {format_value(low, dimension)}"
    pieces = test.good.pieces
    if len(pieces) != 1 or pieces[0].kind == "unsteady":
        return None
    piece = pieces[0]
    if piece.kind == "over":
        return "OL"
    if piece.kind == "around":
        low, high = piece.low - 2 * piece.high, piece.low + 2 * piece.high
    else:
        low, high = piece.low, piece.high
    if low == high:
        return format_value(low, dimension)
    return f"{format_value(low, dimension)} to {format_value(high, dimension)}"
