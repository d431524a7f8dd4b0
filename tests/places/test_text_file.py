"""A file that a person names is read no further than it may be long, and what is wrong is said."""

from __future__ import annotations

from pathlib import Path

import pytest

from knowngood.places.library import find_machine
from knowngood.places.record import Refused
from knowngood.places.text_file import text_of


def test_a_file_as_it_is_without_its_byte_order_mark(tmp_path: Path) -> None:
    (tmp_path / "a.txt").write_bytes(b"\xef\xbb\xbfpack 12 \xc2\xb0C")
    assert text_of(tmp_path / "a.txt", 14, "note") == "pack 12 °C"
    with pytest.raises(Refused, match="larger than 13 bytes: no note"):
        text_of(tmp_path / "a.txt", 13, "note")


@pytest.mark.skipif(not Path("/dev/zero").exists(), reason="only where /dev/zero is")
def test_what_has_no_end_is_too_large() -> None:
    with pytest.raises(Refused, match="larger than 2,000,000 bytes: no machine file"):
        find_machine("/dev/zero")


def test_what_cannot_be_read_says_why(tmp_path: Path) -> None:
    (tmp_path / "b.txt").write_bytes(b"ok \xff")
    for path, said in (
        (tmp_path / "none.txt", "No such file"), (tmp_path, "Is a directory"),
        ("a\x00b", "null"), (tmp_path / "b.txt", "not UTF-8 at byte 3"),
    ):  # fmt: skip
        with pytest.raises(Refused, match=said):
            text_of(path, 100, "note")
