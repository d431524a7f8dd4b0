"""``knowngood plan --card``: the plan on paper."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

from knowngood.diagnosis.assess import Setup
from knowngood.documents.parties import Shop
from knowngood.documents.pdf import write_pdf
from knowngood.places.card import bench_card
from knowngood.places.plan import Json
from knowngood.store.problem import not_written


def write_card(setup: Setup, complaint_words: str, file: Path, shop: str) -> tuple[str, Json]:
    """Write the bench card: ("", its plan) or (what is wrong with the file, {})."""
    now = datetime.now().astimezone().replace(microsecond=0)
    card, tree = bench_card(setup, complaint_words, Shop(shop), now=now)
    try:
        write_pdf(card, {}, file, now)
    except OSError as error:
        return not_written(file, error), {}
    return "", tree
