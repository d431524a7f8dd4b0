"""Good by the limit of the machine's file, not by a tap. Limits: as the shipped files have them."""

from __future__ import annotations

import pytest

from knowngood.places.library import find_machine
from knowngood.shop.proven import not_empty, not_proven, not_worked

WAIT = "Wait a minute, then measure the bulk capacitor on its own terminals; below 5 V to go on"


@pytest.mark.parametrize(
    ("test", "text", "said"),
    [
        ("chain_ohms", "0.3 ohm", ""),  # limits 0 to 1 ohm
        ("chain_ohms", "OL", "OL is not below 1 ohm"),
        ("chain_ohms", "1.4 ohm", "1.4 ohm is not below 1 ohm"),
        ("chain_ohms", "", "nothing was read yet"),
        ("chain_ohms", "fine", "'fine' is no reading"),
        ("chain_brake_on", "0.3 ohm", "0.3 ohm is not OL"),  # good: OL
        ("chain_brake_on", "OL", ""),
        ("chain_brake_on", "12 Mohm", ""),
        ("brake_band", "", ""),  # a yes or no is proven by the person's word
        ("brake_band", "no", "no is not clear all round"),
    ],
)
def test_a_reading_is_judged_by_its_limit(test: str, text: str, said: str) -> None:
    asked = next(t for t in find_machine("chainsaw-56v").it.tests if t.id == test)
    found = not_proven(asked, text)
    assert found.startswith(said) if said else found == ""


@pytest.mark.parametrize(
    ("text", "said"),
    [("31 V", "31 V is not below 5 V"), ("-31 V", "-31 V is not below 5 V"), ("12 mV", ""),
     ("0.4 V", ""), ("", "nothing was read yet"), ("empty", "'empty' is no reading"),
     ("OL", "'OL' is no reading"), ("5 V", "5 V is not below 5 V")],
)  # fmt: skip
def test_a_capacitor_is_empty_by_its_volts(text: str, said: str) -> None:
    found = not_empty(WAIT, text)
    assert found.startswith(said) if said else found == ""


@pytest.mark.parametrize(
    ("text", "shows"),
    [("0.4 ohm, OL released", True), ("1.2 to 8.7 kohm", True), ("0,3 Ω held; open", True),
     ("zero point three ohms, then OL", True),
     ("", False), ("fine", False), ("0.4 ohm", False), ("31 V", False), ("OL", False),
     ("0.4 ohm, 0.4 ohm", False)],
)  # fmt: skip
def test_controls_are_worked_when_two_readings_differ(text: str, shows: bool) -> None:
    assert (not_worked(text) == "") is shows
