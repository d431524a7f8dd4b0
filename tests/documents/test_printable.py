"""Signs that cannot be drawn are named, the rest is left alone."""

from __future__ import annotations

import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from knowngood.documents.printable import named, printable

NONE: frozenset[str] = frozenset()


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("4.7 Ω ± 2 %", "4.7 Ω ± 2 %"),
        ("#let x = 1 $y$ \\ *b*", "#let x = 1 $y$ \\ *b*"),
        ("one\r\ntwo\u2028three", "one\ntwo\nthree"),
        ("tab\there", "tab here"),
        ("bell\x07", "bell[U+0007]"),
        ("a\u202eb\u202c", "a[U+202E]b[U+202C]"),
        ("a\u200fb\u200b", "ab"),
        ("\ud800", "[U+D800]"),
        ("\ue000", "[U+E000]"),
    ],
)
def test_text_as_it_is_printed(text: str, shown: str) -> None:
    assert printable(text, NONE) == shown


def test_a_sign_without_a_glyph_is_named() -> None:
    assert printable("hot \U0001f525!", frozenset("\U0001f525")) == "hot [fire]!"
    assert named("日") == "[U+65E5]"


@given(st.text())
def test_what_is_printed_holds_no_control_and_prints_the_same_again(text: str) -> None:
    shown = printable(text, NONE)
    assert not any(
        sign != "\n" and unicodedata.category(sign) in ("Cc", "Cf", "Cs", "Co", "Cn")
        for sign in shown
    )
    assert printable(shown, NONE) == shown
