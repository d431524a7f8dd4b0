"""Proofs of the rebuild at the terminal: a cover waits for them, and what was left out is said."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from knowngood.documents.document import texts
from knowngood.documents.record import record_blocks, release_words
from tests.cli.test_bench import Bench
from tests.cli.test_bench_end import DECIDED, SHUT


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    opened = Bench(tmp_path)
    opened.enter(DECIDED + "fitted")
    yield opened
    opened.record.log.close()


def claimed(bench: Bench) -> str:
    blocks = record_blocks(bench.job, bench.session.opened.machine)
    return " ".join(text for block in blocks for text in texts(block))


def test_a_cover_waits_for_each_proof_and_says_the_way_out(bench: Bench) -> None:
    said = bench.enter("back")
    assert "can't be back yet, not proven: Prove: start box closed (prove 1 0.4 ohm)" in said
    assert "(prove 3 good)" in said and "back handle anyway REASON" in said
    assert "harness end to end (prove 2 0.4 ohm)" in bench.enter("prove 1 0.3\nback")
    assert len(bench.job.open_steps) == 1
    bench.enter("prove 2 0.4 ohm\nprove 3 good\nback")
    assert not bench.job.open_steps and "left out" not in claimed(bench)
    assert "0.3" in claimed(bench) and "good: under 2 ohm" in claimed(bench)
    assert "Left out" not in bench.enter("release")


def test_a_proof_left_out_is_named_at_release_and_on_the_claim(bench: Bench) -> None:
    bench.enter("prove 1 0.3\nback anyway the customer waits")
    assert "not proven: Prove: harness end to end" in bench.job.notes[-1].text
    assert "the customer waits" in bench.job.notes[-1].text
    said = bench.enter("prove 2 0.3")
    assert "is back on, so it can't be read any more: open handle, then prove 2 0.4 ohm" in said
    assert "prove:harness_rest" not in bench.job.apart.ticks
    said = bench.enter("release")
    assert "Left out while it was put together: Prove: harness end to end" in said
    assert "open handle, then prove 2 0.4 ohm" in said
    said = bench.enter("y\npassed\nrelease")
    assert "All checks are made; none failed, 2 proofs left out" in said
    assert "left out" in claimed(bench)
    words = release_words(bench.job, bench.session.opened.machine)
    assert words == "2 passed, 2 left out in the rebuild"
    bench.enter("open handle\nprove 1 0.3\nprove 2 0.3\nprove 3 good\nback")
    assert "left out" not in release_words(bench.job, bench.session.opened.machine)


def test_a_check_takes_y_and_passed_and_says_what_it_kept(bench: Bench) -> None:
    bench.enter(f"{SHUT}\nrelease")
    said = bench.enter("1.9 s")
    assert "A reading alone is no result: pass 1.9 s or fail 1.9 s?" in said
    assert not bench.job.release
    said = bench.enter("pass 1,8 s")
    assert "kept: Blade seen still within 3.0 s of release: pass, 1,8 s" in said
    bench.enter("passed")
    assert [c.result for c in bench.job.release] == ["pass", "pass"]


def test_a_check_that_needs_the_machine_together_waits(bench: Bench) -> None:
    bench.enter("release anyway the lid waits for its screws")
    said = bench.enter("yes")
    assert "it waits until the machine is together; still off: open the start box" in said
    assert not bench.job.release
