"""How a step is said when it goes back. The pairs are common practice of the bench."""

from __future__ import annotations

import pytest

from knowngood.machines.back import back_words
from knowngood.places.library import find_machine, shipped_machines


@pytest.mark.parametrize(
    ("off", "back"),
    [
        ("Trigger assembly out", "Put back: trigger assembly"),
        ("Cover off (Pack out first)", "Put back: cover (Pack out first)"),
        ("lift the controller cover", "Put back: controller cover"),
        ("unplug the controller", "Together again: controller"),
        ("open the start box", "Close again: start box"),
        ("Plug of the brake switch parted", "Together again: plug of the brake switch"),
        ("Gear case open, motor free", "Close again: gear case, motor free"),
        ("PTO switch out", "Put back: PTO switch"),
        ("Two clips bent aside", "Put back as it was: two clips bent aside"),
    ],
)
def test_what_came_off_is_said_as_it_goes_back(off: str, back: str) -> None:
    assert back_words(off) == back


@pytest.mark.parametrize("name", shipped_machines())
def test_no_step_that_goes_back_is_said_by_how_it_came_off(name: str) -> None:
    for step in find_machine(name).it.teardown:
        if step.role != "discharge" and step.back_minutes:
            assert step.back and not step.back.casefold().startswith(("undo", "put back as"))
