"""Columns: heights in proportion, all words inside and apart, nothing a reader cannot have."""

from __future__ import annotations

import math
import re
from xml.etree import ElementTree

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from knowngood.drawing.columns import WIDTH, Columns, draw_columns, said_value, ticks
from knowngood.drawing.shapes import Box, Words

NS = "{http://www.w3.org/2000/svg}"
TWO = Columns(
    "Bench time by month", "minutes", ("Mar 2026", "Apr", "May"),
    (("sold", (120.0, 60.0, None)), ("worked", (150.0, 60.0, 30.0))),
)  # fmt: skip


def bars(svg: str, wide: float) -> list[tuple[float, float, str]]:
    """(x, height, fill) of each column from left to right."""
    found = []
    for one in ElementTree.fromstring(svg).iter(f"{NS}rect"):
        if float(one.attrib["width"]) not in (WIDTH, 2.4) and "stroke" not in one.attrib:
            found.append((float(one.attrib["x"]), float(one.attrib["height"]), one.attrib["fill"]))
    assert all(x + wide < WIDTH for x, _, _ in found)
    return sorted(found)


def words(svg: str) -> list[Words]:
    return [
        Words(float(t.attrib["x"]), float(t.attrib["y"]), t.text or "",
              t.attrib.get("font-weight") == "bold", t.attrib.get("text-anchor", "start"))
        for t in ElementTree.fromstring(svg).iter(f"{NS}text")
    ]  # fmt: skip


def test_heights_are_in_proportion_and_nothing_known_has_a_dash() -> None:
    svg = draw_columns(TWO)
    found = bars(svg, 1.0)
    assert [fill for _, _, fill in found] == ["black", "white", "black", "white", "white"]
    tallest = found[1][1]
    for (_, height, _), value in zip(found, (120, 150, 60, 60, 30), strict=True):
        assert height / tallest == pytest.approx(value / 150, abs=0.003)
    texts = [one.text for one in words(svg)]
    dashes = [p for p in ElementTree.fromstring(svg).iter(f"{NS}path")
              if p.attrib["d"].count("L") == 1 and "stroke-width" not in p.attrib]  # fmt: skip
    assert len(dashes) == 2  # the base line, and May's for what is not known
    assert {"sold", "worked", "Apr", "120", "150"} <= set(texts)
    assert "sold: Mar 2026 120, Apr 60, May none" in svg


@settings(deadline=None, max_examples=30)
@given(
    st.integers(1, 24).flatmap(
        lambda n: st.lists(
            st.tuples(st.text(max_size=30), st.none() | st.floats(0, 1e7),
                      st.none() | st.floats(0, 1e7)),
            min_size=n, max_size=n,
        )
    ),
    st.text(max_size=200),
)  # fmt: skip
def test_any_words_and_values_stay_inside_and_apart(
    rows: list[tuple[str, float | None, float | None]], title: str
) -> None:
    labels = tuple(label for label, _, _ in rows)
    series = tuple(
        (name, tuple(row[k] for row in rows)) for k, name in ((1, "one <b>"), (2, "two & more"))
    )
    plot = Columns(title, "minutes", labels, series)
    svg = draw_columns(plot)
    height = float(re.search(r'viewBox="0 0 [\d.]+ ([\d.]+)"', svg)[1])  # type: ignore[index]
    boxes: list[Box] = []
    for one in words(svg):
        if not one.text.strip():
            continue
        box = one.box
        assert box.x0 >= -0.01 and box.x1 <= WIDTH + 0.01, one
        assert box.y0 >= 0 and box.y1 <= height, one
        assert not any(box.overlaps(other, 0.05) for other in boxes), one
        boxes.append(box)


@given(st.floats(1e-3, 1e9))
def test_the_scale_ends_at_or_above_the_highest_in_few_round_steps(highest: float) -> None:
    step, top = ticks(highest)
    assert top >= highest * (1 - 1e-9) and 2 <= round(top / step) <= 5
    lead = step / 10 ** math.floor(math.log10(step * (1 + 1e-9)))
    assert min(abs(lead - good) for good in (1, 2, 2.5, 5)) < 1e-6


@pytest.mark.parametrize(
    ("labels", "series"),
    [
        ((), (("a", ()),)),
        (("x",), ()),
        (("x",), (("a", (1.0, 2.0)),)),
        (("x",), (("a", (-1.0,)),)),
        (("x",), (("a", (math.nan,)),)),
        (("x",), (("a", (math.inf,)),)),
    ],
)
def test_what_cannot_be_drawn_is_refused(labels: tuple[str, ...], series: object) -> None:
    with pytest.raises(ValueError, match=r"labels|stands for|values"):
        draw_columns(Columns("t", "u", labels, series))  # type: ignore[arg-type]


def test_values_as_a_person_reads_them() -> None:
    assert [said_value(v) for v in (None, 0.0, 2.25, 12.0, 1234.6)] == [
        "none", "0", "2.2", "12", "1235",
    ]  # fmt: skip
