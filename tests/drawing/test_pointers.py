"""Where a wire goes on in another row: the pointer names a row that has its point."""

from __future__ import annotations

from typing import Any

import pytest

from knowngood.drawing import layout
from knowngood.drawing.layout import pointers_of
from knowngood.drawing.strip import strip_of
from knowngood.machines.parse import parse_machine
from knowngood.machines.shipped import load_shipped


def test_a_pointer_names_the_nearest_row_that_has_the_point() -> None:
    rows = [{"a", "b"}, {"b"}, {"a", "c"}, {"c", "b"}]
    assert pointers_of(rows) == [
        ({}, {"a": "row 3", "b": "row 2"}),
        ({"b": "row 1"}, {"b": "row 4"}),
        ({"a": "row 1"}, {"c": "row 4"}),
        ({"b": "row 2", "c": "row 3"}, {}),
    ]


@pytest.mark.parametrize("name", ["rider-start-12v", "mower-battery-56v", "hedge-trimmer-36v"])
def test_pointers_of_the_shipped_wirings(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each row is drawn with the pointers that the rows themselves give; nothing points at a row
    without the point."""
    machine, problems = parse_machine(load_shipped(name), name)
    assert machine is not None and machine.wires is not None, problems
    drawn: list[tuple[set[str], dict[str, str], dict[str, str]]] = []

    def seen(columns: Any, ground: str, main: Any, new: Any, come: Any, go: Any) -> Any:
        drawn.append(({p.node for c in columns for i in c for p in i.pins}, dict(come), dict(go)))
        return strip_of(columns, ground, main, new, come, go)

    monkeypatch.setattr(layout, "strip_of", seen)
    layout.lay_out(machine.wires.circuit)
    cut = max(i for i, (_, come, _) in enumerate(drawn) if not come)  # the last first row
    rows = drawn[cut:]
    assert len(rows) > 1
    pointers = [(n, v) for _, come, go in rows for n, v in (*come.items(), *go.items())]
    assert pointers
    assert all(node in rows[int(where[4:]) - 1][0] for node, where in pointers)
