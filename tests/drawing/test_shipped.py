"""The wiring of every shipped machine: nothing lies on anything else, nothing is cut, and each
point is found once by its number and once more in the list."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from importlib import resources
from itertools import pairwise

import pytest

from knowngood.drawing.collide import collisions
from knowngood.drawing.layout import Layout, lay_out
from knowngood.drawing.svg import page_parts
from knowngood.machines.parse import parse_machine
from knowngood.machines.shipped import load_shipped

NAMES = sorted(
    one.name.removesuffix(".yaml")
    for one in resources.files("knowngood.machines.shipped").iterdir()
    if one.name.endswith(".yaml")
)


@cache
def picture(name: str, width: float = 180.0) -> Layout | None:
    machine, problems = parse_machine(load_shipped(name), name)
    assert machine is not None, problems
    if machine.wires is None:
        return None
    words = {p.node: p.words for p in machine.wires.points.values()}
    circuit = replace(machine.wires.circuit, name=machine.words)
    return lay_out(circuit, width_mm=width, words=words)


def test_there_are_machines_with_a_wiring() -> None:
    assert sum(picture(name) is not None for name in NAMES) >= 8


@pytest.mark.parametrize("width", [90.0, 180.0, 230.0])
@pytest.mark.parametrize("name", NAMES)
def test_nothing_lies_on_anything_else_and_no_words_are_cut(name: str, width: float) -> None:
    layout = picture(name, width)
    if layout is None:
        pytest.skip("no wiring in its file")
    assert [str(one) for one in collisions(layout)] == []
    words = [w for one in layout.placed for w in one.words] + list(layout.words)
    assert [w.text for w in words if "…" in w.text] == []
    for one in words:
        assert one.box.x0 >= 0 and one.box.x1 <= layout.width


@pytest.mark.parametrize("name", NAMES)
def test_each_point_is_found_in_the_picture_and_in_the_list(name: str) -> None:
    layout = picture(name)
    if layout is None:
        pytest.skip("no wiring in its file")
    listed = layout.breaks[-1]
    drawn = [s.number for s in layout.spots if not s.again]
    assert sorted(drawn) == list(range(len(drawn)))
    below = [s.number for s in layout.spots if s.at[1] > listed]
    assert sorted(below) == sorted(drawn)


@pytest.mark.parametrize("name", NAMES)
def test_parts_for_pages_cut_no_symbol_and_leave_nothing_out(name: str) -> None:
    layout = picture(name)
    if layout is None:
        pytest.skip("no wiring in its file")
    parts = page_parts(layout, 250.0)
    assert parts[0][0] == 0 and parts[-1][1] == layout.height
    assert all(a[1] == b[0] for a, b in pairwise(parts))
    for one in layout.placed:
        assert one.body is None or any(
            top <= one.body.y0 and one.body.y1 <= foot for top, foot in parts
        )
