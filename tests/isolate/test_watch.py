"""What a deadline that has begun leaves, by a clock that the test turns."""

import pytest

from knowngood.isolate.watch import Watch


def test_what_was_used_and_what_is_kept_for_later_is_gone_from_the_deadline() -> None:
    now = 100.0
    watch = Watch(10.0, lambda: now)
    assert watch.left(0.0, 0.0) == pytest.approx(10.0)
    now = 103.0
    assert watch.left(0.2, 0.5) == pytest.approx(5.0)
    now = 104.0
    assert watch.left(0.2, 0.5) == pytest.approx(5.0), "not less than the least share"
    assert watch.left(0.2, 0.1) == pytest.approx(4.0)
    assert Watch(None, lambda: now).left(0.2, 0.5) is None
