"""Which of the shipped families every run of the suite tries, and which only the whole one."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any, TypeVar

import pytest

ALWAYS = ("hedge-trimmer-36v", "mower-4stroke")
T = TypeVar("T")


def each(things: Iterable[T], family: Callable[[T], str] = str) -> list[Any]:
    """All of them for `pytest.mark.parametrize`; those of a family not in `ALWAYS` are slow."""
    return [
        one if family(one) in ALWAYS else pytest.param(one, marks=pytest.mark.slow)
        for one in things
    ]
