"""The bench cards of the shipped machines: one page, no gaps between bands, an instruction at every
end, and the numbers of the points those of the drawing."""

from __future__ import annotations

import io
import re
import shutil
import subprocess
from collections.abc import Iterator
from datetime import UTC, datetime
from decimal import Decimal
from functools import cache
from itertools import pairwise
from operator import itemgetter
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from pypdf import PdfReader

from knowngood.diagnosis.assess import Setup
from knowngood.diagnosis.evidence import Evidence
from knowngood.documents.document import Document, Drawing, Facts, Page
from knowngood.documents.parties import Shop
from knowngood.documents.pdf import render
from knowngood.isolate.belief import Item
from knowngood.isolate.group import Follow
from knowngood.isolate.policy import evaluate
from knowngood.isolate.prices import Prices
from knowngood.isolate.tails import MOST_ASKED
from knowngood.places.card import CardPlans, bench_card, read_on
from knowngood.places.library import find_machine, find_meter, make_setup
from knowngood.places.plan import Json
from knowngood.places.taking import read_for
from knowngood.places.wiring import wiring_picture
from tests.families import each

NOW = datetime(2026, 3, 4, 9, 0, tzinfo=UTC)
SHOP = Shop("Alder Lane Small Engine & Cordless", (), "555 0114")
CARDS = [
    ("mower-battery-56v", "dead"),
    ("rider-start-12v", "no_crank"),
    ("hedge-trimmer-36v", "dead"),
    ("chainsaw-56v", "dead"),
]
LOOKS = 300
AGAIN = "once more; if it stays: "


def set_up(machine: str, complaint: str) -> Setup:
    return make_setup(find_machine(machine).it, complaint, find_meter("generic-6000").it, Prices())


@cache
def card_of(machine: str, complaint: str) -> tuple[Setup, Document, Json]:
    setup = set_up(machine, complaint)
    return setup, *bench_card(setup, "as told", SHOP, now=NOW, looks=LOOKS)


@cache
def plans_of(machine: str) -> CardPlans:
    return CardPlans(set_up(machine, "dead"), LOOKS)


@pytest.fixture(scope="module", params=each(CARDS, itemgetter(0)), ids=lambda one: "-".join(one))
def made(request: pytest.FixtureRequest) -> tuple[Setup, Document, Json]:
    return card_of(*request.param)


def nodes(tree: Json) -> Iterator[Json]:
    yield tree
    for branch in tree.get("then", ()):
        yield from nodes(branch["next"])


def page(card: Document) -> Page:
    return next(b for b in card.blocks if isinstance(b, Page))


def test_the_plan_is_one_page_of_readable_type_and_its_back(
    made: tuple[Setup, Document, Json],
) -> None:
    _, card, tree = made
    pdf = PdfReader(io.BytesIO(render(card, {}, NOW)))
    sizes: list[float] = []

    def visit(text: str, _cm: Any, tm: Any, _font: Any, size: float) -> None:
        if text.strip():
            sizes.append(size * abs(tm[0]))

    words = " ".join(pdf.pages[0].extract_text(visitor_text=visit).split())
    assert len(pdf.pages) == 2
    assert min(sizes) >= 7.95  # points, two decimals of it lost in the matrix of the page
    told = [ask for node in nodes(tree) for ask in node.get("tail", ())]
    assert len(page(card).steps) >= 5 and len(page(card).steps) + len(told) >= 15
    assert sum(1 for n in nodes(tree) if "do" in n) >= 10
    for step in page(card).steps:
        assert step.text.replace("\u2019", "'") in words.replace("\u2019", "'")


def test_nothing_is_cut_off_at_the_foot(made: tuple[Setup, Document, Json], tmp_path: Path) -> None:
    """No word in the last four millimetres, which many printers leave white (common practice)."""
    if shutil.which("pdftotext") is None:
        pytest.skip("pdftotext is not installed (poppler-utils)")
    out = tmp_path / "card.pdf"
    out.write_bytes(render(made[1], {}, NOW))
    boxes = subprocess.run(
        ["pdftotext", "-bbox", str(out), "-"], capture_output=True, text=True, check=True
    ).stdout
    height = float(PdfReader(out).pages[0].mediabox[3])
    feet = [float(y) for y in re.findall(r'yMax="([\d.-]+)"', boxes)]
    assert len(feet) > 300 and max(feet) <= height - 4 * 72 / 25.4


def test_every_reading_has_a_way(made: tuple[Setup, Document, Json]) -> None:
    """From below everything to above everything without a gap, and what is no number."""
    setup, _, tree = made
    quantity = {t.id: t.quantity for t in setup.machine.tests}
    for node in nodes(tree):
        if "do" not in node:
            continue
        named = [o for branch in node["then"] for o in branch["outcomes"]]
        if quantity[node["do"]["id"]] == "yes_no":
            assert set(named) == {"yes", "no"}
            continue
        bands = [b for b in node["then"] if b["outcomes"][0].startswith("band")]
        assert bands[0]["low"] is None and bands[-1]["high"] is None
        assert all(a["high"] == b["low"] for a, b in pairwise(bands))
        assert {"over", "unsteady"} <= set(named)


def test_no_edge_is_finer_than_the_meter(made: tuple[Setup, Document, Json]) -> None:
    """The last digit of an edge is worth half of the meter's standard uncertainty or more."""
    setup, _, tree = made
    for node in nodes(tree):
        for branch in node.get("then", ()):
            test = node["do"]["id"]
            for edge in (branch["low"], branch["high"]):
                if not edge:
                    continue
                row = setup.bench.table.rows[test]
                assert setup.bench.meter is not None
                if not setup.bench.meter.ranges(row.quantity):
                    continue
                random, shared, _ = setup.bench.meter.u_at(row.quantity, [edge])
                written = Decimal(f"{edge:.6g}").normalize().as_tuple()
                assert isinstance(written.exponent, int)
                step = 10.0**written.exponent * (5 if written.digits[-1] == 5 else 1)
                assert step >= np.hypot(random, shared)[0] / 2, (test, edge)


def test_every_end_says_what_to_do(made: tuple[Setup, Document, Json]) -> None:
    """By probability: all of it ends with a part, a list of what to try, or "ask the maker"."""
    _, card, tree = made
    ends = [n for n in nodes(tree) if "do" not in n]
    assert sum(n["chance"] for n in ends) == pytest.approx(1.0)
    lost = sum(n["chance"] for n in ends if not (n["proven"] or n["left"]))
    assert lost == 0
    numbers = {step.number for step in page(card).steps}
    letters, told = {d.letter for d in page(card).details}, 0
    for step in page(card).steps:
        assert step.letter in letters
        for way in step.ways:
            said = way.then
            asked = re.fullmatch(rf"(?:{AGAIN})?((?:[a-z]{{1,2}} .*: .*; )+)else .+", said)
            assert said in numbers or asked or said.startswith(
                ("order ", "left: ", "no listed part", "nothing listed", AGAIN)
            ), said
            if asked:
                told += 1
                each = asked[1].removesuffix("; ").split("; ")
                assert len(each) <= MOST_ASKED and {one.split()[0] for one in each} <= letters
    assert told
    assert "anew" not in str(card)


def test_what_is_left_is_in_order_and_no_more_than_there_is(
    made: tuple[Setup, Document, Json],
) -> None:
    for node in nodes(made[2]):
        left = [one["belief"] for one in node.get("left", ())]
        assert left == sorted(left, reverse=True) and sum(left) <= 1.001


def test_the_points_bear_the_numbers_of_the_drawing(made: tuple[Setup, Document, Json]) -> None:
    setup, card, tree = made
    picture = wiring_picture(setup.machine)
    assert picture is not None
    numbers = dict(picture.numbers)
    (drawing,) = [b.svg for b in card.blocks if isinstance(b, Drawing)]
    shown = dict(re.findall(r'<g data-node="([^"]+)">.*?>(\d+)</text></g>', drawing))
    assert all(int(number) == numbers[node] for node, number in shown.items())
    letters = {s.letter: s for s in page(card).steps}
    text = {d.letter: d.text for d in page(card).details}
    checked = 0
    for test in setup.machine.tests:
        pairs = test.probe.pairs if test.id in read_on(tree) and test.probe else ()
        for red, black in pairs:
            assert red in shown and black in shown  # to be found on the back of the card
            mine = [s for s in letters.values() if text[s.letter].startswith(test.words)]
            want = f"R {numbers[red]} B {numbers[black]}"
            assert all(want in " ".join(s.near) for s in mine)
            how = [t for t in text.values() if t.startswith(test.words)]  # of ends' tests too
            if test.red or test.black:
                assert any(f"R {numbers[red]}" in t and f"B {numbers[black]}" in t for t in how)
                checked += 1
            checked += len(mine)
    assert checked >= 3


def test_longer_pages_cost_less() -> None:
    """As they are printed, with what their ends tell to do."""
    plans = plans_of("mower-battery-56v")
    assert len(plans.found) > 20
    prices = [plans.page(at).price for at in (0, 10, 20, len(plans.found) - 1)]
    assert prices == sorted(prices) and prices[0] < prices[-1] / 1.5


@pytest.mark.parametrize("machine", [pytest.param("mower-battery-56v"),
                                     pytest.param("chainsaw-56v", marks=pytest.mark.slow)])
def test_the_price_of_a_printed_page_is_that_of_following_it(machine: str) -> None:
    """With the tests that its ends tell to take, by the evaluation of policies; and every part that
    an end tells is another than the next one would be."""
    plans = plans_of(machine)
    task = plans.advice.task
    for at in (0, len(plans.found) // 2):
        told = plans.page(at)
        followed = told.followed(Follow(task))
        assert told.tails and followed != told.page
        assert told.price == pytest.approx(evaluate(task, followed), rel=1e-9)
        assert told.price < evaluate(task, told.page) - 1.0
        assert all(tail.asks[-1].parts != tail.parts for tail in told.tails.values())


def comes_off(plan: Page) -> str:
    """What its states say comes off, letters as their words."""
    words = {d.letter: d.text for d in plan.details if d.letter.isupper()}
    off = [re.sub(r"^Off first [(][^)]*[)]: ", "", d.text).partition(". ")[0]
           for d in plan.details if d.text.startswith("Off first")]  # fmt: skip
    return "; ".join(words.get(one, one) for text in off for one in re.split("[,;] |[.]$", text))


@pytest.mark.slow
def test_the_card_goes_on_from_what_was_read() -> None:
    """With the input read and the pack out, the card neither asks for the input again first nor
    takes the pack out once more."""
    setup, start, _ = card_of("mower-battery-56v", "dead")
    meter = find_meter("generic-6000").it
    test = next(t for t in setup.machine.tests if t.id == "input_ohms")
    item = Item("1", test.id, read_for(test, "212 kohm", meter))
    off = next(s for s in setup.machine.teardown if s.id == "pack_out")
    on, tree = bench_card(
        setup, "as told", SHOP, now=NOW, looks=LOOKS,
        evidence=Evidence(items=(item,), opened=frozenset({off.id})),
    )  # fmt: skip
    assert tree["do"]["id"] != "input_ohms"
    (facts,) = [b for b in on.blocks if isinstance(b, Facts)]
    assert f"1 step read; off: {off.words}" in str(facts)
    assert "So far" not in str(start)
    assert off.words in comes_off(page(start)) and off.words not in comes_off(page(on))
    assert len(PdfReader(io.BytesIO(render(on, {}, NOW))).pages) == 2
