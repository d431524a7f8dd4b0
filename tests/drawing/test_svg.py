"""The SVG text: valid, safe, the same every time, and the leads told apart without colour."""

from __future__ import annotations

import os
import subprocess
import sys
from dataclasses import replace
from xml.etree import ElementTree as ET

import pytest
from PIL import ImageFont

from knowngood.circuit.circuit import Circuit
from knowngood.circuit.netlist import parse_circuit
from knowngood.drawing.collide import collisions
from knowngood.drawing.layout import lay_out
from knowngood.drawing.lettering import tidy, width_of, wrapped
from knowngood.drawing.shapes import SIZE
from knowngood.drawing.svg import draw
from tests.drawing.examples import BENCH, FOLDER, bench, made, parsed, series_parallel

NS = "{http://www.w3.org/2000/svg}"
DIVIDER = """
ground: B-
elements:
  - {ref: BT1, kind: battery, pins: {plus: B+, minus: B-}, volts: 12 V}
  - {ref: R1, kind: resistor, pins: {a: B+, b: tap}, ohms: 1 kohm}
  - {ref: R2, kind: resistor, pins: {a: tap, b: B-}, ohms: 1 kohm}
"""


def lead(root: ET.Element, name: str) -> ET.Element:
    return next(g for g in root.iter(f"{NS}g") if g.get("data-lead") == name)


def test_leads_are_told_apart_by_shape_and_letter_and_end_at_their_points() -> None:
    layout = lay_out(parsed(DIVIDER))
    root = ET.fromstring(draw(parsed(DIVIDER), red="tap", black="B-", layout=layout))
    red, black = lead(root, "red"), lead(root, "black")
    assert [e.tag for e in red][1:] == [f"{NS}circle", f"{NS}text"]
    assert [e.tag for e in black][1:] == [f"{NS}rect", f"{NS}text"]
    assert [red[2].text, black[2].text] == ["R", "B"]
    for group, node in ((red, "tap"), (black, "B-")):
        spot = next(s for s in layout.spots if s.node == node and not s.again)
        start = (group[0].get("d") or "").split(" L")[0].removeprefix("M").split()
        x, y = map(float, start)
        assert x == pytest.approx(spot.at[0], abs=0.01)
        assert abs(y - spot.at[1]) == pytest.approx(2.1, abs=0.02)  # on the rim of its circle
    assert "red lead on tap, black lead on B-" in (root.get("aria-label") or "")


@pytest.mark.parametrize("name", BENCH)
def test_the_picture_stands_still_while_the_leads_move(name: str) -> None:
    circuit = bench(name)
    layout = lay_out(circuit)
    plain = set(draw(circuit, layout=layout).splitlines()[3:])
    for node in circuit.nodes:
        moved = set(draw(circuit, red=node, black=circuit.ground, layout=layout).splitlines())
        assert plain <= moved


def test_black_on_white_in_a_box_that_scales() -> None:
    root = ET.fromstring(draw(bench("mower-56v"), highlight=["S2", "J9.3"]))
    assert root.get("viewBox") == f"0 0 180 {root.get('height', '').removesuffix('mm')}"
    assert root.get("width") == "180mm"
    paints = {e.get(a) for e in root.iter() for a in ("fill", "stroke")} - {None}
    assert paints == {"black", "white", "none"}
    sizes = {float(e.get("font-size", "nan")) for e in root.iter() if e.get("font-size")}
    assert min(sizes) >= 2.6


def test_every_element_and_node_is_there_to_be_found() -> None:
    circuit = bench("hedge-36v")
    root = ET.fromstring(draw(circuit))
    assert {e.get("data-element") for e in root.iter()} - {None} == set(circuit.by_ref)
    assert {e.get("data-node") for e in root.iter()} - {None} == set(circuit.nodes)
    written = " ".join(e.text or "" for e in root.iter(f"{NS}text"))
    for element in circuit.elements:
        assert element.ref in written
    for word in ("front", "trigger", "25 A", "S1 open", "B-, return"):
        assert word in written


HOSTILE = [
    '"><script>alert(1)</script>',
    "a & b < c > d ' e",
    "]]>",
    "\x00\x07\u202eback\ud800",
    "日本語の配線図",
    "x" * 500,
    "",
    " ",
]


@pytest.mark.parametrize("evil", HOSTILE)
def test_hostile_words_are_text(evil: str) -> None:
    ref, node = evil or "R1", (evil or "n") + "."
    elements = (
        made("battery", "BT1", {"plus": "B+", "minus": "B-"}),
        made("resistor", ref, {"a": "B+", "b": node}, words=evil, through=(evil,)),
        made("wire", ref + "2", {"a": node, "b": "B-"}, words=evil, colour=evil),
    )
    circuit = Circuit(evil, "B-", elements)
    layout = lay_out(circuit, words={node: evil}, colours={node: evil})
    svg = draw(circuit, red=node, black="B-", highlight=[ref], layout=layout)
    tags = {e.tag.removeprefix(NS) for e in ET.fromstring(svg.encode()).iter()}
    assert tags <= {"svg", "title", "rect", "g", "path", "circle", "text"}
    assert [str(one) for one in collisions(layout)] == []


def test_names_that_are_not_in_the_picture_are_refused() -> None:
    circuit = parsed(DIVIDER)
    with pytest.raises(ValueError, match="no test point 'top' in this picture"):
        draw(circuit, red="top")
    with pytest.raises(ValueError, match="no element or test point 'R9'"):
        draw(circuit, highlight=["R9"])
    with pytest.raises(ValueError, match="width_mm is 20; a column of symbols needs 60 mm"):
        lay_out(circuit, width_mm=20)
    with pytest.raises(ValueError, match="width_mm"):
        lay_out(circuit, width_mm=float("nan"))


def test_the_smallest_circuits() -> None:
    only = (made("battery", "BT1", {"plus": "B+", "minus": "B-"}),)
    for circuit in (
        Circuit("", "B-", ()),
        Circuit("", "B-", only),
        Circuit("", "B-", (made("resistor", "R1", {"a": "x", "b": "x"}),)),
        Circuit("", "B-", (made("resistor", "R1", {"a": "B-", "b": "B-"}),)),
    ):
        ET.fromstring(draw(circuit))
        assert collisions(lay_out(circuit)) == []


def test_the_same_circuit_gives_the_same_text_in_another_process() -> None:
    program = (
        "import hashlib, pathlib; from knowngood.circuit.netlist import parse_circuit;"
        "from knowngood.drawing.svg import draw;"
        f"text = pathlib.Path({str(FOLDER / 'rider-start.yaml')!r}).read_text(encoding='utf-8');"
        "print(hashlib.sha256(draw(parse_circuit(text)[0]).encode()).hexdigest())"
    )
    digests = {
        subprocess.run(
            [sys.executable, "-c", program],
            env=os.environ | {"PYTHONHASHSEED": seed},
            capture_output=True,
            check=True,
            text=True,
        ).stdout
        for seed in ("1", "2")
    }
    assert len(digests) == 1


def test_words_of_the_caller_go_before_the_circuits_own() -> None:
    circuit, _ = parse_circuit(DIVIDER.replace("ohms: 1 kohm}", "ohms: 1 kohm, words: old}"))
    assert circuit is not None
    svg = draw(circuit, words={"R1": "new", "tap": "middle"}, colours={"tap": "blue"})
    assert ">new<" in svg and ">old<" in svg and ">tap, middle, blue<" in svg


def test_letters_need_no_more_room_than_was_kept() -> None:
    """Against the widths of another sans-serif face, the one that Pillow carries (Aileron)."""
    font = ImageFont.load_default(100)
    circuit = series_parallel(3)
    texts = {w.text for one in lay_out(circuit).placed for w in one.words}
    texts |= {"battery cable", "key switch, at start", "C2.1, orange/white", "0123456789"}
    for text in texts:
        assert font.getlength(text) / 100 <= width_of(text, 1) * 1.001, text


def test_lines_break_at_blanks_hyphens_and_strokes() -> None:
    assert wrapped("handle-position switch", 20, SIZE, 3) == ("handle-", "position switch")
    assert wrapped("red/white", 20, SIZE, 2) == ("red/white",)
    cut = wrapped("one two three four five six", 12, SIZE, 2)
    assert len(cut) == 2 and cut[-1].endswith("…")
    assert all(width_of(line, SIZE) <= 12 for line in cut)
    assert tidy(" a\x00\u202e  b\n") == "a b"


def test_a_layout_of_another_circuit_is_noticed() -> None:
    other = replace(lay_out(bench("hedge-36v")), name="x")
    with pytest.raises(ValueError, match="no test point"):
        draw(parsed(DIVIDER), red="tap", layout=other)


def test_the_plus_of_a_supply_of_the_shop_is_whole_though_it_is_dashed() -> None:
    """A dashed plus is a minus with a speck beside it."""
    text = DIVIDER.replace("volts: 12 V", "volts: 12 V, words: supply of the shop")
    root = ET.fromstring(draw(parsed(text)))
    group = next(g for g in root.iter() if g.get("data-element") == "BT1")
    lines = [line for line in group.iter() if line.tag in (f"{NS}path", f"{NS}line")]
    whole = [line for line in lines if line.get("stroke-dasharray") is None]
    assert len(whole) == 2 and len(lines) > 6  # the strokes of the plus; plates and leads
