"""What each outcome of a step would leave, in words: the "why" of a step."""

from __future__ import annotations

from dataclasses import dataclass

from knowngood.isolate.advice import leaves_of
from knowngood.places.gather import View
from knowngood.places.library import find_test
from knowngood.places.plan import outcome_words
from knowngood.places.sentence import parts_words

MOST = 3
RARE = 0.005


@dataclass(frozen=True, slots=True)
class Outcome:
    """One outcome: in words, its chance, and the parts it would leave with their beliefs."""

    words: str
    chance: float
    left: tuple[tuple[str, float], ...]


def outlook(view: View, test_id: str) -> tuple[Outcome, ...]:
    """Outcomes of a test by chance, those below half a per cent left out."""
    test = find_test(view.machine, test_id)
    bench = view.setup.bench
    edges = bench.bands(test.id).edges
    found: list[Outcome] = []
    for label, chance, left in leaves_of(bench, view.assessment.belief, test.id):
        if chance < RARE:
            continue
        low = high = None
        if label.startswith("band"):
            place = int(label.removeprefix("band"))
            low, high = edges[place - 1], edges[place]
        parts = [(_named(view, parts), p) for parts, p in list(left.items())[:MOST]]
        words = outcome_words(test, [label], low, high, bench.meter)
        found.append(Outcome(words, chance, tuple(parts)))
    return tuple(sorted(found, key=lambda o: -o.chance))


def _named(view: View, parts: frozenset[str]) -> str:
    return parts_words(view.machine, parts) if parts else "none of the listed parts"
