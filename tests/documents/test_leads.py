"""The picture of where the leads were: both marks, both points by name, and only what is near."""

from __future__ import annotations

from functools import cache

import pytest

from knowngood.documents.leads import leads_drawing
from knowngood.machines.machine import Machine
from knowngood.places.library import find_machine, find_meter, wired


@cache
def rider() -> Machine:
    return wired(find_machine("rider-start-12v").it, find_meter("generic-6000").it)


def test_both_leads_are_marked_by_letter_and_named() -> None:
    drawing = leads_drawing(rider(), "drop_ground_cable")
    assert drawing is not None
    assert ">R<" in drawing.svg and ">B<" in drawing.svg
    assert "ground cable" in drawing.svg and "head lamps" not in drawing.svg
    assert "lug of the ground cable" in drawing.caption and "minus clamp" in drawing.caption


def test_what_is_unplugged_in_the_condition_is_not_drawn() -> None:
    drawing = leads_drawing(rider(), "small_terminal")  # cranked by the key: no jumper of the shop
    assert drawing is not None and "jumper" not in drawing.svg


def test_two_points_that_were_asked_for_are_drawn() -> None:
    drawing = leads_drawing(rider(), "ask:volts:cranking:post+:frame")
    assert drawing is not None and "battery plus post" in drawing.caption


@pytest.mark.parametrize("test", ["lamps_dim", "no such test", "ask:volts:cranking:post+:nowhere"])
def test_what_no_two_leads_read_has_no_picture(test: str) -> None:
    assert leads_drawing(rider(), test) is None


def test_a_drawing_of_leads_fits_a_page_without_losing_its_letters() -> None:
    """A page of the claim holds 176 by 254 mm: lettering of 2.6 mm stays over 2.2."""
    mower = wired(find_machine("mower-battery-56v").it, find_meter("generic-6000").it)
    drawn = [d for t in mower.tests if (d := leads_drawing(mower, t.id)) is not None]
    high = [float(d.svg.split('height="')[1].split("mm")[0]) for d in drawn]
    assert len(high) > 20 and 2.6 * min(1.0, 254 / max(high)) >= 2.2
