"""The proof in a sentence says what else is bad beside the part that was called."""

from __future__ import annotations

from knowngood.diagnosis.assess import assess, set_up
from knowngood.diagnosis.evidence import Evidence
from knowngood.isolate.belief import Item
from knowngood.isolate.prices import Prices
from knowngood.machines.parse import parse_machine
from knowngood.machines.shipped import load_shipped
from knowngood.measure.meter import load_shipped_meter
from knowngood.measure.typed import read_text
from knowngood.places.sentence import proof_sentence

METER = load_shipped_meter("generic-6000")
BLOWN = (("input_ohms", "OL"), ("turn_sprocket", "no"), ("fuse_ohms", "OL"), ("fuse_ohms", "OL"),
         ("pack_rest", "57.3"))  # fmt: skip


def test_a_fuse_that_blew_for_a_reason_is_not_told_as_all() -> None:
    """A saw whose controller is shorted and blew the fuse: the fuse is proven, not the whole."""
    machine, problems = parse_machine(load_shipped("chainsaw-56v"), "chainsaw-56v")
    assert machine is not None, problems
    setup = set_up(machine, "dead", METER, Prices())
    rows = setup.bench.table.rows
    items = tuple(
        Item(f"r{n}", test, read_text(text, rows[test].quantity, METER))
        for n, (test, text) in enumerate(BLOWN)
    )
    called = assess(setup, Evidence(items=items, called="fuse"), max_expansions=4)
    assert called.proof.proven
    said = proof_sentence(setup, called)
    assert said.startswith("The main fuse is bad:")
    assert "the controller is bad as well (99%)" in said
    whole = assess(setup, Evidence(items=items), max_expansions=4)
    assert whole.proof.parts == {"fuse", "controller"}
    assert "as well" not in proof_sentence(setup, whole)
