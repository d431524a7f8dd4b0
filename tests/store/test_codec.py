"""Events as JSON and back, from older versions too."""

from __future__ import annotations

import json
import math
import sys
from dataclasses import fields
from typing import Any, get_args

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from knowngood.job import events as ev
from knowngood.store import codec
from knowngood.store.problem import NewerStore, StoreProblem
from tests.job.record import told

WORDS = st.text(st.characters(exclude_categories=["Cs"]), max_size=12)
PLAIN = st.recursive(
    st.none() | st.booleans() | st.integers(-(2**60), 2**60) | st.floats(allow_nan=False) | WORDS,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(WORDS, inner, max_size=3),
    max_leaves=6,
)
BY_TYPE: dict[str, st.SearchStrategy[Any]] = {
    "str": WORDS,
    "float": st.floats(0, 1e6),
    "bool": st.booleans(),
    "Plain": st.dictionaries(WORDS, PLAIN, max_size=3),
    "Words": st.lists(WORDS, max_size=3).map(tuple),
}


def _of_type(cls: type, wanted: str) -> st.SearchStrategy[Any]:
    """Values of a field; a word of its own module is one of a few."""
    if wanted in BY_TYPE:
        return BY_TYPE[wanted]
    return st.sampled_from(get_args(getattr(sys.modules[cls.__module__], wanted)))


EVENTS = st.one_of(
    st.builds(cls, **{f.name: _of_type(cls, str(f.type)) for f in fields(cls)})
    for cls in codec.KINDS.values()
)


@given(EVENTS)
@settings(max_examples=300, deadline=None)
def test_every_event_comes_back(event: ev.Event) -> None:
    kind, version, body = codec.encode(event)
    assert codec.decode(kind, version, body) == event
    envelope = told(event)[0]
    line = codec.to_line(envelope)
    assert "\n" not in line
    assert codec.from_line(line).event == event


def test_every_kind_can_be_stored() -> None:
    assert set(codec.KINDS.values()) == set(get_args(ev.Event)) - {ev.Unknown}
    for kind, version in codec.VERSIONS.items():
        assert all((kind, older) in codec.UPCASTERS for older in range(1, version))


def test_a_check_in_of_version_1_had_no_promise() -> None:
    old = """{"number": "26-0001", "machine_id": "m", "machine_digest": "", "complaint": "dead",
              "customer_words": "", "customer": "", "maker": "", "model": "", "serial": "",
              "meter": "", "meter_digest": "", "prices_digest": "", "rates": {"bench_rate": 90}}"""
    event = codec.decode("JobOpened", 1, old)
    assert isinstance(event, ev.JobOpened)
    assert (event.promised, event.rates) == ("", {"bench_rate": 90})


def test_numbers_without_end_survive() -> None:
    shown = {"odds": math.inf, "less": [-math.inf]}
    event = ev.ReadingJudged("r1", "bad", "", shown)
    kind, version, body = codec.encode(event)
    assert "Infinity" not in body  # RFC 8259 section 6 permits no such number
    assert codec.decode(kind, version, body) == event


def test_an_unknown_kind_is_kept_whole() -> None:
    text = '{"until":"Friday","words":"ten days"}'
    event = codec.decode("PartPromised", 4, text)
    assert isinstance(event, ev.Unknown)
    assert codec.encode(event) == ("PartPromised", 4, text)


def test_a_newer_version_of_a_known_kind_is_refused() -> None:
    with pytest.raises(NewerStore, match=r"version 9; this program knows versions up to 2"):
        codec.decode("JobOpened", 9, "{}")


@pytest.mark.parametrize(
    ("kind", "body", "said"),
    [
        ("NoteAdded", "{", "not readable JSON"),
        ("NoteAdded", "[]", "has no body"),
        ("NoteAdded", "{}", "lacks its field 'text'"),
        ("NoteAdded", '{"text": 3}', "should be str"),
        ("NoteAdded", '{"text": "", "colour": ""}', "a field 'colour' it should not have"),
        ("MinutesNoted", '{"what": "", "minutes": "3"}', "should be float"),
        ("ReleaseChecked", '{"check": "", "words": "", "result": "maybe"}', "'maybe'"),
    ],
)
def test_a_damaged_body_is_said(kind: str, body: str, said: str) -> None:
    with pytest.raises(StoreProblem, match=said):
        codec.decode(kind, 1, body)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"seq": None}, "int"),
        ({"seq": "x"}, "invalid literal"),
        ({"device_time": "2026-03-02T09:00"}, "no zone"),
        ({"server_time": "soon"}, "soon"),
    ],
)
def test_a_line_that_is_off_is_said(change: dict[str, object], said: str) -> None:
    data = json.loads(codec.to_line(told(ev.NoteAdded("a"))[0]))
    with pytest.raises(StoreProblem, match=said):
        codec.from_line(json.dumps({**data, **change}))
    for name in data:
        with pytest.raises(StoreProblem, match=f"'{name}' is missing"):
            codec.from_line(json.dumps({k: v for k, v in data.items() if k != name}))
