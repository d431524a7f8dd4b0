"""The chapters of a job beside the bench, by the name of their field in `Job`."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from knowngood.job import apart, counter, learning, paperwork, shelf
from knowngood.job.chapter import Chapter
from knowngood.job.plain import Stamp

CHAPTERS: Mapping[str, Chapter[Any]] = {
    "counter": counter.CHAPTER,
    "paperwork": paperwork.CHAPTER,
    "apart": apart.CHAPTER,
    "shelf": shelf.CHAPTER,
    "learning": learning.CHAPTER,
}

_OF = {kind: name for name, chapter in CHAPTERS.items() for kind in chapter.fold}


def empty_chapters() -> dict[str, Any]:
    """Each chapter as it is before anything happened."""
    return {name: chapter.empty for name, chapter in CHAPTERS.items()}


def turn(values: dict[str, Any], event: object, at: Stamp) -> bool:
    """Fold one event into its chapter; False when it belongs to none."""
    name = _OF.get(type(event))
    if name is None:
        return False
    values[name] = CHAPTERS[name].fold[type(event)](values[name], event, at)
    return True


def words_for(event: object) -> Callable[[Any], str] | None:
    """What puts this event into words; None when it belongs to no chapter."""
    name = _OF.get(type(event))
    return None if name is None else CHAPTERS[name].words[type(event)]
