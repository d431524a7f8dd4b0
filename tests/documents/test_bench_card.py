"""The bench card: the plan on one page, each way out in words, hostile text as text."""

from __future__ import annotations

import io
from typing import Any

import pytest
from pypdf import PdfReader

from knowngood.documents.bench_card import PLAN_ANEW, bench_card_document
from knowngood.documents.document import Document, Drawing, Paragraph, Step, Steps, texts
from knowngood.documents.pdf import Paper, render
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
    return bench_card_document(small(), "Dead", policy, svg, SHOP, now=NOW, **more)


def steps(document: Document) -> list[Step]:
    return [s for block in document.blocks if isinstance(block, Steps) for s in block.steps]


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
    assert first.text == "Measure the pack."
    assert first.lines == (
        "3 min; pack on the bench; off first: Pack out",
        "red: pack plus, black: pack minus; good: 52 to 58.8 V",
    )
    assert first.cautions == ("Do not bridge the terminals.",)
    assert [(w.reads, w.then) for w in first.ways] == [
        ("below 52 V", "order Battery pack TN-1"),
        ("52 V to 58.8 V", "go to 2"),
        ("OL", "stop here: say what was found, and send it on"),
    ]
    # 3 for the test, 4 for the cover, 3 for the capacitor; the pack is out already
    assert second.lines[0].startswith(
        "10 min; pack out, cover off; off first: Cover off (Pack out first); Measure"
    )
    assert second.cautions == ()  # each stands with what comes off
    assert [w.then for w in second.ways] == [
        "order Main fuse TN-2",
        "go to 3",
        "fit one by one until cured: Main fuse TN-2, then Battery pack TN-1",
    ]
    assert third.lines[0] == "2 min; ENERGISED: cover off and pack in; then: Undo: Pack out"
    assert third.cautions == ("One hand.",)


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
    assert only.text == "Fit Main fuse TN-2 and try." and only.lines[0].startswith("5 min")


def test_steps_that_go_on_alike_are_printed_once() -> None:
    twice = do("through", then={"over": {"stop": ["fuse"]}})
    plan = do("rest", then={"below 46 V": twice, "over": twice})
    first, _second = steps(card(plan))
    assert [(w.reads, w.then) for w in first.ways] == [("below 46 V or OL", "go to 2")]


def chain(length: int) -> dict[str, Any]:
    """So many steps, each with two ways."""
    node: dict[str, Any] = {"stop": ["pack"]}
    for k in range(length):
        node = do("rest", then={f"below {k + 1} V": {"stop": ["fuse"]}, f"above {k + 1} V": node})
    return node


def test_a_long_plan_is_cut_and_says_how_much_is_missing() -> None:
    paper = card(chain(40), most=31, pages=1)
    kept = steps(paper)
    said = [b.text for b in paper.blocks if isinstance(b, Paragraph)]
    assert len(kept) <= 31
    assert said[0].startswith(f"{40 - len(kept)} more steps of this plan did not fit here")
    assert [w.then for w in kept[-1].ways][-1] == PLAN_ANEW
    assert not any(PLAN_ANEW in w.then for s in kept[:-1] for w in s.ways)


def test_the_likeliest_steps_stay() -> None:
    far = do("input", then={"over": {"stop": ["fuse"]}})
    near = do("through", then={"over": {"stop": ["fuse"]}})
    plan = do("rest", then=[
        {"words": "below 1 V", "chance": 0.1, "next": near},
        {"words": "above 1 V", "chance": 0.9, "next": far},
    ])  # fmt: skip
    first, second = steps(card(plan, most=2, pages=1))
    assert second.text == "Volts at the controller."
    assert [(w.reads, w.then) for w in first.ways] == [
        ("above 1 V", "go to 2"), ("below 1 V", PLAN_ANEW),
    ]  # fmt: skip


@pytest.mark.parametrize("paper", ["a4", "us-letter"])
def test_a_long_plan_goes_on_on_further_pages(paper: Paper) -> None:
    document = card(chain(100))
    sheets = [b.steps for b in document.blocks if isinstance(b, Steps)]
    assert len(sheets) > 2 and len(steps(document)) == 100
    assert [s.number for s in steps(document)] == [str(n) for n in range(1, 101)]
    assert not any(PLAN_ANEW in w.then for s in steps(document) for w in s.ways)
    end = sheets[0][-1]
    assert end.ways[-1].then == f"go to {len(sheets[0]) + 1}, page 2"
    pdf = PdfReader(io.BytesIO(render(document, {}, NOW, paper=paper)))
    assert len(pdf.pages) == len(sheets)
    first = 1
    for number, (page, sheet) in enumerate(zip(pdf.pages, sheets, strict=True), 1):
        words = " ".join(page.extract_text().split())
        assert number == 1 or f"Page {number} of the plan: steps {first} to" in words
        for step in sheet:  # each on the page where it is said to be
            assert all(f"{w.reads} → {w.then}" in words for w in step.ways)
        first += len(sheet)


@pytest.mark.parametrize("paper", ["a4", "us-letter"])
def test_a_full_card_is_one_page_of_readable_type(paper: Paper) -> None:
    document = card(chain(31), pages=1)
    pages, words, smallest = read(document, paper)
    assert pages == 1
    assert smallest >= 5.95
    for step in steps(document):
        assert all(f"{w.reads} → {w.then}" in words for w in step.ways)
    before_sender = words[: words.index(SHOP.name)]
    assert before_sender == ""


def test_hostile_text_stays_text() -> None:
    evil = '#import "x": y $ ] </svg> \u202e <b> \x00 ' + "w" * 400
    plan = do("rest", then={evil: {"stop": [evil]}, "over": do(evil, then={evil: {"cut": True}})})
    document = bench_card_document(small(), evil, plan, None, SHOP, now=NOW, job=evil, meter=evil)
    pages, words, _ = read(document)
    assert pages >= 1 and '#import "x": y $ ] </svg>' in words


SVG = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 180 90" width="180mm" height="90mm">'


def test_a_drawing_stands_on_the_card() -> None:
    document = card(svg=SVG + '<text x="9" y="9" font-size="3">test point 7</text></svg>')
    assert [b for b in document.blocks if isinstance(b, Drawing)]
    pages, words, _ = read(document)
    assert pages == 1 and "R red lead" in words and "test point 7" in words


@pytest.mark.parametrize(
    "svg",
    ["", "<svg", "<html/>", SVG + '<image href="a.png"/></svg>', SVG + "<script/></svg>",
     SVG + '<use href="other.svg#a"/></svg>'],
)  # fmt: skip
def test_a_drawing_that_fetches_or_is_none_is_refused(svg: str) -> None:
    if svg:
        with pytest.raises(ValueError, match="the drawing"):
            card(svg=svg)
    else:
        assert not any(isinstance(b, Drawing) for b in card(svg=svg).blocks)


def test_nothing_is_left_unsaid_by_an_empty_plan() -> None:
    assert "order Battery pack TN-1" in "\n".join(texts(card({"stop": ["pack"], "proven": True})))
    assert "not proven" in "\n".join(texts(card({"stop": ["pack"], "proven": False})))
