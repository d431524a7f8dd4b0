"""What a bench session asks, as a value."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

Lines = Iterable[str]


@dataclass(frozen=True, slots=True)
class Ask:
    """What is asked: ``key`` says which question it is, ``bare``: any words are an answer."""

    key: str
    prompt: str
    answer: Callable[[str], None]
    lines: Callable[[], Lines] = tuple
    bare: bool = False
