"""How a reading is told on paper."""

from __future__ import annotations

from dataclasses import replace

from knowngood.documents.shown import state
from tests.documents import mower
from tests.documents.mower import MACHINE


def test_the_state_of_a_reading_is_told_in_the_conditions_own_words() -> None:
    pressed = replace(
        mower.taken("r9", "pressed", "Plunger pressed", "12 mV", "box_open"), circumstance="wiggled"
    )
    job = mower.told(*mower.STORY, pressed)
    reading = job.reading("r9")
    assert reading is not None
    assert state(reading, MACHINE) == "Pack out, handle box open"
    assert state(replace(reading, condition=""), MACHINE) == "wiggled"
