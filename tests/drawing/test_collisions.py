"""Nothing in a picture lies on anything else; and the check that says so sees it when it does."""

from __future__ import annotations

from dataclasses import replace

import pytest

from knowngood.drawing import rows
from knowngood.drawing.collide import collisions, crossings_of
from knowngood.drawing.layout import Wire, lay_out
from tests.drawing.examples import BENCH, bench, series_parallel, tangle
from tests.drawing.test_says_the_same import read_back, written


@pytest.mark.parametrize("width", [60, 100, 180, 270])
@pytest.mark.parametrize("name", BENCH)
def test_bench_circuits_are_clean(name: str, width: float) -> None:
    layout = lay_out(bench(name), width_mm=width)
    assert [str(one) for one in collisions(layout)] == []
    assert crossings_of(layout) <= 3


@pytest.mark.parametrize("seed", range(40))
def test_random_series_parallel_circuits_are_clean(seed: int) -> None:
    circuit = series_parallel(seed, 60 if seed % 4 == 0 else 25)
    layout = lay_out(circuit)
    assert [str(one) for one in collisions(layout)] == []
    assert crossings_of(layout) <= len(circuit.elements) / 3


@pytest.mark.parametrize("seed", range(12))
def test_tangles_are_clean(seed: int) -> None:
    """Rings and islands have no order from plus to return; legible all the same."""
    layout = lay_out(tangle(seed), width_mm=150)
    assert [str(one) for one in collisions(layout)] == []


@pytest.mark.parametrize("seed", [1005, 1028, 1036, 1092])
def test_a_phone_wide_picture_is_clean(seed: int) -> None:
    for width in (60, 90):
        layout = lay_out(series_parallel(seed, 30), width_mm=width)
        assert [str(one) for one in collisions(layout)] == []


@pytest.mark.parametrize("seed", range(4))
def test_the_last_resort_for_rings_is_clean_too(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Without tries to part rings by order, rows are spread until none is left."""
    monkeypatch.setattr(rows, "_TRIES", 0)
    for circuit in (series_parallel(seed, 25), tangle(seed)):
        layout = lay_out(circuit, width_mm=150)
        assert [str(one) for one in collisions(layout)] == []
        assert read_back(layout) == written(circuit)


def test_a_series_chain_is_one_straight_line() -> None:
    layout = lay_out(bench("mower-56v"), width_mm=270)
    chain = {"X1", "F1"} | {"W1", "S1", "S2", "S3"}
    level: dict[float, set[str]] = {}
    for pin in layout.pins:
        if pin.ref in chain:
            level.setdefault(pin.at[1], set()).add(pin.ref)
    assert sorted(map(sorted, level.values())) == [["F1", "X1"], ["S1", "S2", "S3", "W1"]]


def test_the_check_sees_each_kind_of_collision() -> None:
    clean = lay_out(bench("rider-start"))
    word = clean.words[-1]
    wire = next(w for w in clean.wires if w.a[1] == w.b[1] and w.b[0] - w.a[0] > 20)
    middle = ((wire.a[0] + wire.b[0]) / 2, wire.a[1])
    spot = next(s for s in clean.spots if s.node != wire.node)
    symbol = next(one for one in clean.placed if one.key == "K1")
    assert symbol.body is not None
    x, y = symbol.body.x0 + 1, (symbol.body.y0 + symbol.body.y1) / 2
    spoiled = {
        "word on wire": replace(clean, words=(replace(word, x=middle[0], y=middle[1] + 1),)),
        "word on word": replace(clean, words=(word, replace(word, x=word.x + 1))),
        "word on symbol": replace(clean, words=(replace(word, x=symbol.body.x0 - 1, y=y),)),
        "word outside": replace(clean, words=(replace(word, x=clean.width - 1),)),
        "point on wire": replace(clean, spots=(replace(spot, at=middle),)),
        "mark on wire": replace(clean, spots=(replace(spot, mark=middle),)),
        "wire through symbol": replace(clean, wires=(Wire("x", (x - 9, y), (x + 9, y)),)),
        "wire along wire": replace(
            clean, wires=(wire, Wire("x", middle, (middle[0] + 5, middle[1])))
        ),
        "junction on wire": replace(clean, dots=(("x", middle),)),
        "symbol on symbol": replace(
            clean, placed=(*clean.placed, replace(symbol, key="K2", words=(), shapes=()))
        ),
    }
    assert collisions(clean) == []
    assert [what for what, layout in spoiled.items() if not collisions(layout)] == []
