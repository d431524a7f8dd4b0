"""How a chapter of a job is made: its own events, one frozen value, and a pure fold.

A chapter is a module of this room (`job/counter.py`): frozen events of plain data, the union of
them, a frozen value that has a default for every field, and `CHAPTER`. To add one:

1. `job/events.py`: import its union and add it to `Event`.
2. `job/job.py`: a field of that name.
3. `job/chapters.py`: its name and its `CHAPTER`.
4. One old record with its events, made by tests/old_records/make.py.

An event's fields are str, float, bool, `Plain`, `Words`, or a Literal alias of its own module.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from knowngood.job.plain import Stamp

V = TypeVar("V")


@dataclass(frozen=True, slots=True)
class Chapter(Generic[V]):
    """`fold` gives the next value after one event of a type, `words` that event as half a sentence.

    Both have the same types of events.
    """

    empty: V
    fold: Mapping[type[Any], Callable[[V, Any, Stamp], V]]
    words: Mapping[type[Any], Callable[[Any], str]]
