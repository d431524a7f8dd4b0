"""The hour on a paper that the terminal writes is the shop's."""

from __future__ import annotations

import re
from datetime import datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

from pypdf import PdfReader

from knowngood.job.shop_sheet import ShopNoted
from knowngood.places.premises import note_shop
from knowngood.places.record import Record
from tests.cli.test_paper import _shop as _shop  # the fixture "shop"
from tests.cli.test_paper import typed
from tests.places.conftest import at


def test_a_paper_tells_the_hour_of_the_shop(shop: Path) -> None:
    """The sheet's zone, not that of the computer: UTC+14 is another hour than any of ours."""
    with Record.open(shop / "shop.db") as record:
        note_shop(record, ShopNoted(name="Alder Lane", zone="Pacific/Kiritimati"), at())
    assert typed(shop, "under", "brackwater.yaml", "--job", "26-0001")[0] == 0
    code, _, err = typed(shop, "claim", "--job", "26-0001", "--out", "claim.pdf")
    assert code == 0, err
    text = " ".join(page.extract_text() for page in PdfReader(shop / "claim.pdf").pages)
    printed = re.search(r"Printed ([0-9]+) [A-Z][a-z]+ ([0-9]+), ([0-9]{2}):", text)
    assert printed is not None
    now = datetime.now(ZoneInfo("Pacific/Kiritimati"))
    told = datetime(int(printed[2]), now.month, int(printed[1]), int(printed[3]), tzinfo=now.tzinfo)
    assert timedelta(hours=-2) < now - told < timedelta(hours=2)
