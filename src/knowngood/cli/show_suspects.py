"""The parts and the faults behind them, as the bench lists them."""

from __future__ import annotations

from collections.abc import Iterator

from knowngood.cli.show import WORTH_NAMING, wrapped
from knowngood.diagnosis.views import PartView
from knowngood.places.gather import View

WORTH_A_LINE = 0.001


def suspects(view: View, every: bool = False) -> Iterator[str]:
    """The parts, and the faults behind them: how likely, and by what they are shown out. What is
    under `WORTH_A_LINE` is counted, unless `every` one is asked for."""
    least = 0.0 if every else WORTH_A_LINE
    low = [p for p in view.assessment.parts if p.belief < least]
    for one in view.assessment.parts:
        if one.belief >= least:
            yield from _part(one)
    yield from _folded(len(low))
    yield "  behind them:"
    questions = {t.id: t.question for t in view.machine.tests}
    folded = 0
    for suspect in view.assessment.suspects:
        if not every and suspect.belief < WORTH_NAMING / 2 and not suspect.shown_out_by:
            continue
        if "&" in suspect.id and suspect.belief < WORTH_NAMING:
            continue
        if suspect.belief < least:
            folded += 1
            continue
        by = f"; shown out by {questions.get(suspect.shown_out_by, suspect.shown_out_by)}"
        said = f"{suspect.words}{by if suspect.shown_out_by else ''}"
        yield from wrapped(said, f"  {suspect.belief:6.1%}  ")
    yield from _folded(folded)


def _folded(many: int) -> Iterator[str]:
    if many:
        yield f"          {many} more under {WORTH_A_LINE:.1%}: suspects all"


def _part(one: PartView) -> Iterator[str]:
    by = f", by {one.evidence}" if one.evidence and one.standing != "open" else ""
    yield from wrapped(f"{one.words}: {one.standing}{by}", f"  {one.belief:6.1%}  ")
