"""The shop's own list of recalls: what a person writes, and which machine is meant."""

from __future__ import annotations

import pytest

from knowngood.shop.notice_file import parse_notices

LIST = """\
notices:
  R-3:
    words: blade brake spring may break
    maker: Brackwater
    models: [BM-561]
    serials: [2304A00001, 2304A02000]
    stop_use: true
    source: invented for the demo
  S-9:
    words: new grease for the gear
    maker: Tolmin
    serials: [TW0001, TW0500]
    source: invented for the demo
"""


def test_which_machine_is_meant() -> None:
    notices, problems = parse_notices(LIST, "recalls.yaml")
    assert problems == []
    recall, service = notices
    assert (recall.stop_use, service.stop_use) == (True, False)
    assert recall.means("BM-561", "2304a 01175", "brackwater")
    assert not recall.means("BM-561", "2304A02001", "Brackwater")  # one past the range
    assert not recall.means("BM-700", "2304A01175", "Brackwater")
    assert not recall.means("BM-561", "2304A01175", "Tolmin")
    assert service.means("TW-560", "TW0500", "Tolmin")  # any model
    assert not service.means("TW-560", "", "Tolmin")


def test_a_range_is_read_as_a_plate_is() -> None:
    """Capitals and marks count for nothing, in the list as on the plate."""
    notices, problems = parse_notices(
        LIST.replace("[2304A00001, 2304A02000]", "[2304a-00001, 2304A02000]"), "recalls.yaml"
    )
    assert problems == []
    assert notices[0].means("BM-561", "2304A00005", "Brackwater")
    odd = LIST.replace("[TW0001, TW0500]", "[A-100, A1000]")  # taken before it was looked at
    assert parse_notices(odd, "recalls.yaml")[0] == ()
    assert parse_notices(odd, "recalls.yaml", kept=True)[0][0].means("BM-561", "2304A01175")


@pytest.mark.parametrize(
    ("was", "becomes", "said"),
    [
        ("maker: Brackwater", "makers: Brackwater", "makers is not known"),
        ("[2304A00001, 2304A02000]", "[2304A02000, 2304A00001]", "are no range"),
        ("[TW0001, TW0500]", "[TW0001]", "serials"),
        ("[TW0001, TW0500]", "[A-100, A1000]", "serials A-100 to A1000 are no range"),
        ("source: invented for the demo\n  S-9", "note: x\n  S-9", "source is missing"),
    ],
)
def test_every_problem_has_its_line(was: str, becomes: str, said: str) -> None:
    notices, problems = parse_notices(LIST.replace(was, becomes), "recalls.yaml")
    assert notices == ()
    assert said in "; ".join(str(p) for p in problems)
    assert all(p.line > 1 for p in problems)


def test_a_file_that_is_no_list() -> None:
    for text in ("", "- one\n", "notices: {}\n", "\x00", "notices: [1, 2]"):
        notices, problems = parse_notices(text, "recalls.yaml")
        assert notices == () and problems
