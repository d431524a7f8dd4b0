"""The customer's words find the complaint of the machine's file that says the same."""

from __future__ import annotations

import pytest

from knowngood.machines.parse import parse_machine
from knowngood.machines.shipped import load_shipped
from knowngood.places.complaints import closest, stems


@pytest.mark.parametrize(
    ("machine", "words", "complaint"),
    [
        ("rider-start-12v", "no crank just clicks", "clicks"),
        ("rider-start-12v", "it just clicks, won't crank", "clicks"),
        ("rider-start-12v", "turn the key and nothing, not even a click", "no_crank"),
        ("rider-start-12v", "turns over slow", "slow"),
        ("rider-start-12v", "turns over fine but won't start", "no_spark"),
        ("rider-start-12v", "dies when I let the pedal up", "dies"),
        ("rider-start-12v", "battery flat again after the weekend", "goes_flat"),
        ("mower-battery-56v", "it shakes like mad and I smell burning", "vibrates"),
        ("mower-battery-56v", "dead", "dead"),
        ("mower-battery-56v", "mower is dead, wont start at all, was fine last week", "dead"),
        ("mower-battery-56v", "nothing happens when I pull the bail", "dead"),
        ("mower-battery-56v", "won't start after I folded it", "no_start_folded"),
        ("mower-battery-56v", "quits on hills", "cuts_out_slopes"),
        ("chainsaw-56v", "doesn't stop when I push the brake", "brake_fails"),
        ("chainsaw-56v", "chain keeps coming off", "chain_comes_off"),
        ("chainsaw-56v", "does nothing at all", "dead"),
        ("trimmer-2stroke", "won't start", "no_start"),
        ("trimmer-2stroke", "starts then dies", "starts_dies"),
        ("mower-4stroke", "won't stop when I let the bail go", "runs_on"),
        ("pack-charger-56v", "not charging", "no_charge"),
    ],
)  # phrases: invented
def test_the_complaint_that_says_the_same_comes_first(
    machine: str, words: str, complaint: str
) -> None:
    it, problems = parse_machine(load_shipped(machine), machine)
    assert it is not None, problems
    assert closest(it, words)[0].id == complaint


def test_a_word_said_to_be_missing_is_not_the_word() -> None:
    assert "not-click" in stems("no click, nothing") and "click" not in stems("no click")
    assert "click" in stems("clicks but does not crank")
    assert "not-crank" in stems("clicks but doesn't crank")
