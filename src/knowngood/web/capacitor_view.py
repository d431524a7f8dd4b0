"""A capacitor that is measured before the step in front: a step of its own on the screen."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Any

from knowngood.diagnosis.sentences import in_short
from knowngood.diagnosis.views import StepView
from knowngood.job.waiting import CAPACITOR
from knowngood.machines.machine import Machine, TeardownStep, Test
from knowngood.places.capacitor import still_charged, to_discharge
from knowngood.places.gather import View
from knowngood.shop.proven import empty_below
from knowngood.web.keys import UNITS
from knowngood.web.step_face import StepFace

Json = dict[str, Any]


def volts_first(view: View, test: Test, step: StepView, source_out: Sequence[str]) -> Json | None:
    """The capacitor on the way to this test as the screen shows it, with what comes off for it;
    None where none is on the way. ``source_out``: what of the way takes the energy out."""
    wait = to_discharge(view, test)
    if wait is None:
        return None
    off = step.opens[: step.opens.index(wait.words)] if wait.words in step.opens else ()
    return replace(
        volts_face(wait), opens=off, minding=step.minding[: len(off)],
        out_first=[words for words in source_out if words in off],
        said=still_charged(view.job, wait),
    ).as_json()  # fmt: skip


def volts_faces(machine: Machine) -> list[Json]:
    """Every capacitor of the machine that is measured, for a phone that walks the plan alone."""
    return [volts_face(step).as_json() for step in machine.teardown if step.role == "discharge"]


def volts_face(step: TeardownStep) -> StepFace:
    """How its volts are asked; ``below``: volts below which it is empty."""
    cautions = [c for c in (step.caution, *step.known_traps) if c]
    below = empty_below(step.words)
    return StepFace(
        kind="volts", id=step.id, words=step.words, question="volts on the capacitor",
        minutes=f"{step.minutes:g} min" if step.minutes else "",
        expect=f"below {below:g} V; it is asked again until it is", below=below,
        cautions=cautions, mind=in_short(tuple(cautions)), grade="measured", quantity="volts",
        keys={"answers": [], "bare": "V", "none_open": False, "must": False, "over": False,
              "only": True, "units": [{"sign": sign, "text": text, "worth": worth}
                                      for sign, text, worth in UNITS["volts"]]},
    )  # fmt: skip


def times_read(view: View) -> int:
    """How often a capacitor was read on this job."""
    return sum(n.text.startswith(CAPACITOR) for n in view.job.notes)


def volts_of(view: View, order: Iterable[TeardownStep]) -> Json | None:
    """Of steps that come off the first that is a capacitor to be measured, with what the last
    reading on it lacked; None where none is."""
    wait = next((s for s in order if s.role == "discharge"), None)
    if wait is None:
        return None
    return {"id": wait.id, "words": wait.words, "below": empty_below(wait.words),
            "caution": wait.caution, "said": still_charged(view.job, wait)}  # fmt: skip
