"""Why the part is the one, told at the bench once it is proven or decided."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from knowngood.cli import show
from knowngood.isolate.proof import shown_out
from knowngood.places.decision import proof_for
from knowngood.places.gather import View
from knowngood.places.sentence import proof_sentence

MOST_OTHERS = 8
PAIR = "; and "  # two faults at once


def why_proven(view: View) -> Iterator[str]:
    """Why the part is the one: the proof as it stands, or as it was kept with the decision."""
    kept = view.job.decision
    if kept is not None:
        yield from show.wrapped(f"{kept.words}: {kept.sentence}")
        tests = kept.proof.get("tests")
        rests = [str(t) for t in tests] if isinstance(tests, list) else []
    else:
        yield from show.wrapped(proof_sentence(view.setup, view.assessment))
        rests = list(proof_for(view).tests)
    for number, one in enumerate(view.job.readings, start=1):
        if one.live and one.test in rests:
            yield from show.wrapped(show.reading_line(one), f"  [{number}] ")
    out = _shown_out(view) if kept is None else kept.proof.get("shown_out")
    others = [o for o in out if isinstance(o, Mapping)] if isinstance(out, list) else []
    single = [o for o in others if PAIR not in str(o.get("suspect", ""))]
    for other in single[:MOST_OTHERS]:
        said = f"{other.get('suspect', '')}: shown out by {other.get('by', '')}"
        yield from show.wrapped(said, "  not ", "      ")
    if len(others) > len(single[:MOST_OTHERS]):
        yield f"  and {len(others) - len(single[:MOST_OTHERS])} more; suspects lists them"


def _shown_out(view: View) -> list[dict[str, str]]:
    questions = {t.id: t.question for t in view.machine.tests}
    words = {h.id: h.words for h in view.assessment.belief.hypotheses}
    return [{"suspect": words[h], "by": questions.get(t, t)}
            for h, (t, _) in shown_out(view.assessment.belief).items()]  # fmt: skip
