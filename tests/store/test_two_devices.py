"""Two phones on one job, a bad network: every sending may arrive twice, in any interleaving."""

from __future__ import annotations

import tempfile
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from knowngood.job.job import replay
from knowngood.store.log import Log
from tests.store.entries import NOW, entry

DEVICES = ("bench", "phone")
# Each step: which device, how many it sends, and how far back it starts again.
STEPS = st.lists(
    st.tuples(st.sampled_from(DEVICES), st.integers(1, 3), st.integers(0, 4)),
    min_size=1,
    max_size=14,
)


@given(STEPS)
@settings(max_examples=60, deadline=None)
def test_sending_again_is_harmless_in_any_interleaving(steps: list[tuple[str, int, int]]) -> None:
    with tempfile.TemporaryDirectory() as folder, Log.open(Path(folder) / "shop.db") as log:
        sent = dict.fromkeys(DEVICES, 0)
        acknowledged: dict[tuple[str, int], int] = {}
        for device, count, back in steps:
            first = max(1, sent[device] + 1 - back)
            numbers = range(first, sent[device] + count + 1)
            sent[device] += count
            batch = [entry(f"{device} {number}", device, number) for number in numbers]
            for one in log.append("j1", batch, NOW):
                key = (one.device, one.device_seq)
                assert acknowledged.setdefault(key, one.seq) == one.seq
        events = log.events("j1")
        assert {(one.device, one.device_seq): one.seq for one in events} == acknowledged
        assert len(events) == sum(sent.values())  # each once
        assert [one.seq for one in events] == list(range(1, len(events) + 1))
        for device in DEVICES:  # each device's own order is kept
            mine = [one.device_seq for one in events if one.device == device]
            assert mine == sorted(mine)
        assert [note.text for note in replay(events).notes] == [
            f"{one.device} {one.device_seq}" for one in events
        ]
