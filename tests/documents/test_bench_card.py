"""The bench card: each way out in words, points by number, hostile text as text."""

from __future__ import annotations

import io
from dataclasses import replace
from typing import Any

import pytest
from pypdf import PdfReader

from knowngood.documents.bench_card import NOTHING, bench_card_document
from knowngood.documents.document import Detail, Document, Drawing, Page, Step, texts
from knowngood.documents.pdf import Paper, pages_of, render
from knowngood.isolate.policy import Node, policy_json
from knowngood.machines.machine import Machine
from knowngood.machines.parse import parse_machine
from tests.documents.mower import NOW, SHOP

MACHINE_FILE = """
machine: small
words: Small mower
family: walk-behind battery mower
source: invented for the demo
sources: {parts: invented for the demo, teardown: invented for the demo,
  tests: invented for the demo, faults: invented for the demo, complaints: invented for the demo}
cautions: [Pack out before hands go under the deck.]
parts:
  pack: {words: Battery pack, numbers: [{number: TN-1}], price: 200, minutes: 1, needs: out}
  fuse: {words: Main fuse, numbers: [{number: TN-2}], price: 9, minutes: 4, needs: [out, cover]}
teardown:
  out: {words: Pack out, minutes: 1, back_minutes: 1, role: source out}
  cover: {words: Cover off, minutes: 4, back_minutes: 5, role: shell, caution: Pack out first.}
  cap: {words: Measure the capacitor, minutes: 3, back_minutes: 0, needs: [out, cover],
        role: discharge, caution: On its own terminals.}
conditions:
  bench: {words: pack on the bench, open: [out], caution: Do not bridge the terminals.}
  dead: {words: "pack out, cover off", open: [out, cover, cap]}
  live: {words: cover off and pack in, open: [cover], closed: [out, cap], energised: true,
         caution: One hand.}
faults:
  pack_dead: {words: no volts, mode: open, parts: pack, weight: 1}
  fuse_open: {words: fuse open, mode: open, parts: fuse, weight: 1}
tests:
  rest: {words: Measure the pack, question: pack volts at rest, quantity: volts, condition: bench,
         minutes: 2, red: pack plus, black: pack minus, good: 52 .. 58.8 V,
         good_reads: 52 to 58.8 V, expect: {pack_dead: 0 .. 10 V}}
  through: {words: Ohms of the fuse, question: fuse, quantity: ohms, condition: dead, minutes: 3,
            red: fuse in, black: fuse out, good: 0 .. 0.5 ohm, expect: {fuse_open: OL}}
  input: {words: Volts at the controller, question: input volts, quantity: volts, condition: live,
          minutes: 1, red: input plus, black: input minus, good: 52 .. 58.8 V,
          expect: {fuse_open: 0 .. 1 V}}
complaints:
  dead: {words: Dead, given: {pack_dead: 0.9, fuse_open: 0.9}}
"""


def small() -> Machine:
    machine, problems = parse_machine(MACHINE_FILE, "small.yaml")
    assert machine is not None, [str(p) for p in problems]
    return machine


def do(test: str, **then: Any) -> dict[str, Any]:
    return {"do": {"kind": "test", "id": test}, "then": then["then"]}


PLAN = do(
    "rest",
    then={
        "below 46 V": {"stop": ["pack"]},
        "46 V to 52 V": {"stop": ["pack"]},
        "52 V to 58.8 V": do(
            "through",
            then={
                "over": {"stop": ["fuse"]},
                "below 0.5 ohm": do("input", then={"over": {"stop": []}}),
                "above 0.5 ohm": {"fit_order": ["fuse", "pack"]},
            },
        ),
        "over": {"give_up": True},
    },
)


def card(policy: dict[str, Any] = PLAN, svg: str | None = None, **more: Any) -> Document:
    drawings = () if svg is None else (svg,)
    return bench_card_document(small(), "Dead", policy, drawings, SHOP, now=NOW, **more)


def page(document: Document) -> Page:
    return next(b for b in document.blocks if isinstance(b, Page))


def steps(document: Document) -> tuple[Step, ...]:
    return page(document).steps


def read(document: Document, paper: Paper = "a4") -> tuple[int, str, float]:
    """Pages, the words on page one, and its smallest type in points."""
    pdf = PdfReader(io.BytesIO(render(document, {}, NOW, paper=paper)))
    sizes: list[float] = []

    def visit(text: str, _cm: Any, tm: Any, _font: Any, size: float) -> None:
        if text.strip():
            sizes.append(size * abs(tm[0]))

    words = pdf.pages[0].extract_text(visitor_text=visit)
    return len(pdf.pages), " ".join(words.split()), min(sizes)


def test_each_step_says_what_to_do_and_where_each_reading_leads() -> None:
    first, second, third = steps(card())
    assert (first.text, first.letter, first.near) == ("Pack volts at rest", "a", ("2 min",))
    assert [(w.reads, w.then) for w in first.ways] == [
        ("below 52 V", "order Battery pack TN-1"),
        ("52 to 58.8 V", "2"),
        ("OL", "stop here: say what was found, and send it on"),
    ]
    assert [w.then for w in second.ways] == [
        "order Main fuse TN-2",
        "3",
        "fit one by one until cured: Main fuse TN-2, then Battery pack TN-1",
    ]
    assert third.near == ("1 min", "LIVE")


def test_how_a_test_is_taken_stands_below_its_state_with_the_cautions() -> None:
    found = page(card()).details
    assert found[0] == Detail("Off and back on, for several of the states below", "", "", ())
    assert found[1:4] == (  # what comes off for more than one state, by letter, with its cautions
        Detail("", "A", "Pack out, 1 min.", ()),
        Detail("", "C", "Cover off, 4 min.", ("Pack out first.",)),
        Detail("", "D", "Measure the capacitor, 3 min.", ("On its own terminals.",)),
    )
    assert found[4] == Detail(
        "Pack on the bench", "", "Off first (1 min): A.", ("Do not bridge the terminals.",)
    )
    assert found[5].letter == "a"
    assert found[5].text == (
        "Measure the pack. R pack plus, B pack minus; 2 min; good: 52 to 58.8 V."
    )
    assert found[6].text == "Off first (8 min): A, C, D."
    assert found[6].cautions == ()  # each stands with what comes off
    assert found[8].head == "LIVE: cover off and pack in"
    assert found[8].text == "Off first (8 min): A, C, D. Then back: A."
    assert found[8].cautions == ("One hand.",)


def test_what_comes_off_for_one_state_alone_is_told_there() -> None:
    (first, *_) = page(card(do("through", then={"over": {"stop": ["fuse"]}}))).details
    assert first.text == (
        "Off first (8 min): Pack out; Cover off (Pack out first); "
        "Measure the capacitor (On its own terminals)."
    )


def test_the_caution_of_a_test_stands_at_its_own_letter() -> None:
    machine = small()
    tests = tuple(replace(t, caution="Leads on first.") if t.id == "input" else t
                  for t in machine.tests)  # fmt: skip
    document = bench_card_document(replace(machine, tests=tests), "Dead", PLAN, (), SHOP, now=NOW)
    said = {d.letter: d.cautions for d in page(document).details if d.letter.islower()}
    assert said == {"a": (), "b": (), "c": ("Leads on first.",)}


def test_a_policy_of_the_planner_is_taken_as_it_is() -> None:
    node = Node(
        "test", "rest",
        then=(
            ("band1", Node("stop", parts=("pack",))),
            ("band2", Node("fit_order", parts=("fuse",))),
        ),
    )  # fmt: skip
    (only,) = steps(card(policy_json(node)))
    assert [w.reads for w in only.ways] == ["band1", "band2"]
    fit = Node("part", "fuse", then=(("cured", Node("stop")), ("not cured", Node("give_up"))))
    (only,) = steps(card(policy_json(fit)))
    assert only.text == "Fit Main fuse TN-2 and try"


def test_steps_that_go_on_alike_are_printed_once() -> None:
    twice = do("through", then={"over": {"stop": ["fuse"]}})
    plan = do("rest", then={"below 46 V": twice, "over": twice})
    first, _second = steps(card(plan))
    assert [(w.reads, w.then) for w in first.ways] == [("below 46 V or OL", "2")]


def unsure(**more: Any) -> dict[str, Any]:
    left = [{"parts": ["pack"], "belief": 0.6}, {"parts": [], "belief": 0.3}]
    return {"stop": ["pack"], "proven": False, "belief": 0.6, "left": left} | more


TAIL = {"tail": [{"test": "through", "words": "OL", "parts": ["fuse"]},
                 {"test": "input", "words": "not 2 V to 3 V", "parts": []}],
        "else": ["pack"]}  # fmt: skip


def test_an_end_that_is_not_sure_says_what_is_left_or_what_each_further_test_tells() -> None:
    plan = do("rest", then={"below 46 V": unsure(**TAIL), "above 46 V": unsure()})
    document = card(plan)
    (only,) = steps(document)
    assert [(w.then, w.sure) for w in only.ways] == [
        ("b OL: Main fuse; c not 2 to 3 V: nothing listed; else Battery pack", False),
        ("left: Battery pack 60 %, nothing listed 30 %", False),
    ]
    letters = [d.letter for d in page(document).details]
    assert {"b", "c"} <= set(letters)  # how they are taken is on the page too


def test_a_reading_hardly_ever_seen_is_first_taken_once_more() -> None:
    plan = do("rest", then=[
        {"words": "below 46 V", "chance": 0.99, "next": {"stop": ["pack"]}},
        {"words": "OL", "chance": 0.005, "next": unsure(**TAIL)},
        {"words": "jumps", "chance": 0.005, "next": unsure()},
    ])  # fmt: skip
    (only,) = steps(card(plan))
    assert only.ways[1].then.startswith("once more; if it stays: b OL: Main fuse; c ")
    assert only.ways[2].then == "once more; if it stays: Battery pack"


def test_hostile_text_stays_text() -> None:
    evil = '#import "x": y $ ] </svg> \u202e <b> \x00 ' + "w" * 400
    plan = do("rest", then={evil: {"stop": [evil]}, "over": do(evil, then={evil: {"stop": []}})})
    document = bench_card_document(small(), evil, plan, (), SHOP, now=NOW, job=evil, meter=evil)
    pages, words, _ = read(document)
    assert pages >= 1 and '#import "x": y $ ] </svg>' in words


SVG = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 180 90" width="180mm" height="90mm">'


def test_a_drawing_stands_on_the_back_of_the_card() -> None:
    document = card(svg=SVG + '<text x="9" y="9" font-size="3">test point 7</text></svg>')
    assert [b for b in document.blocks if isinstance(b, Drawing)]
    pdf = PdfReader(io.BytesIO(render(document, {}, NOW)))
    back = pdf.pages[1].extract_text()
    assert len(pdf.pages) == pages_of(document, NOW) == 2
    assert "R red lead" in back and "test point 7" in back


@pytest.mark.parametrize(
    "svg",
    ["", "<svg", "<html/>", SVG + '<image href="a.png"/></svg>', SVG + "<script/></svg>",
     SVG + '<use href="other.svg#a"/></svg>'],
)  # fmt: skip
def test_a_drawing_that_fetches_or_is_none_is_refused(svg: str) -> None:
    with pytest.raises(ValueError, match="the drawing"):
        card(svg=svg)


def test_nothing_is_left_unsaid_by_an_empty_plan() -> None:
    assert "order Battery pack TN-1" in "\n".join(texts(card({"stop": ["pack"], "proven": True})))
    assert "not proven" in "\n".join(texts(card({"stop": ["pack"], "proven": False})))
    assert NOTHING in "\n".join(texts(card({"stop": [], "proven": True})))


def test_what_is_likely_and_not_proven_is_not_printed_as_sure() -> None:
    end = {"stop": ["fuse"], "proven": False, "belief": 0.95}
    (only,) = steps(card(do("through", then={
        "OL": end, "a number": {"stop": ["pack"], "proven": True}})))  # fmt: skip
    assert [(w.then, w.sure) for w in only.ways] == [
        ("order Main fuse TN-2 (not proven)", False), ("order Battery pack TN-1", True),
    ]  # fmt: skip
