"""YAML 1.2 text to plain data with a line for every entry.

Aliases, tags, duplicate keys, deep nesting and huge files are problems, not surprises: the text
is read event by event, so nothing is expanded and nothing recurses.
"""

from __future__ import annotations

import re
from copy import deepcopy
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import Any, Final, Literal, NamedTuple

from ruamel.yaml import YAML
from ruamel.yaml.error import MarkedYAMLError, YAMLError
from ruamel.yaml.events import (
    AliasEvent,
    CollectionEndEvent,
    DocumentStartEvent,
    Event,
    MappingStartEvent,
    NodeEvent,
    ScalarEvent,
    SequenceStartEvent,
)

from knowngood.measure.problem import Problem

LARGEST: Final = 2_000_000  # bytes of text
DEEPEST: Final = 12  # levels of nesting; a machine file needs six
MOST: Final = 40_000  # entries and brackets; a full machine file has some five thousand

_INT: Final = re.compile(r"[-+]?[0-9]+")
_FLOAT: Final = re.compile(r"[-+]?(\.[0-9]+|[0-9]+(\.[0-9]*)?)([eE][-+]?[0-9]+)?")
_NOT_TEXT: Final = re.compile(
    r"[^\t\n\r\x20-\x7e\x85\xa0-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]"
)
_BRACKETS: Final = re.compile(r"[\[{](?:\s*[\[{]){12}")
_UNSEEN: Final = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x84\x86-\x9f\u202a-\u202e\u2066-\u2069]")
"""Control characters (ESC among them) and those that turn the direction of the text."""
_NULL: Final = frozenset({"", "~", "null", "Null", "NULL"})
_TRUE: Final = frozenset({"true", "True", "TRUE"})
_FALSE: Final = frozenset({"false", "False", "FALSE"})


class Line(int):
    """A line of another file than the one that is read: that of the family of a variant."""

    file: str

    def __new__(cls, line: int, file: str) -> Line:
        made = super().__new__(cls, line)
        made.file = file
        return made

    def __getnewargs__(self) -> tuple[int, str]:  # type: ignore[override]
        return int(self), self.file


def in_its_file(problem: Problem) -> Problem:
    """The problem with the name of the file that its line is of."""
    line = problem.line
    return replace(problem, file=line.file, line=int(line)) if isinstance(line, Line) else problem


class Tree(NamedTuple):
    """``data``: dicts, lists, text, numbers, bools, None. ``lines``: "tests.pack_rest" -> line
    (from 1); list entries count from 0: "tests.pack_rest.good.1". ``base``: text of the family
    that a variant stands on."""

    data: Any
    lines: dict[str, int]
    problems: list[Problem]
    base: str = ""


@dataclass(slots=True)
class _Open:
    kind: Literal["map", "list"]
    path: str
    data: Any
    key: str | None = None
    skip: bool = False  # this entry was a duplicate: read past it
    first: dict[str, int] = field(default_factory=dict)


def read_tree(text: str, name: str) -> Tree:
    """Read ``text``; ``data`` is None when it could not be read at all. The caller may change what
    it gets."""
    return deepcopy(_read_once(text, name))


@lru_cache(maxsize=32)
def _read_once(text: str, name: str) -> Tree:
    """A shop's day goes back and forth between a few files, and a list of machines goes through
    all of them; each takes a good part of a second to read."""
    size = len(text) if len(text) > LARGEST else len(text.encode("utf-8", "replace"))
    if size > LARGEST:
        return _refused(name, 0, f"the file has {size:,} bytes; the most is {LARGEST:,}",
                        "Keep pictures and manuals beside the file, not in it")
    if (deep := _BRACKETS.search(text)) is not None:
        return _refused(name, text.count("\n", 0, deep.start()) + 1,
                        f"nested more than {DEEPEST} deep",
                        "A machine file needs six levels; check the brackets")
    if not text.strip():
        return _refused(name, 0, "the file is empty", "Start with machine:, words: and family:")
    reader = _Reader(name)
    try:
        for event in YAML(typ="safe", pure=True).parse(text):
            if not reader.take(event):
                break
    except MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        what = " ".join(str(error.problem or error.context or "cannot be read").split())
        reader.stop(mark.line + 1 if mark else 0, f"this is not YAML: {what}",
                    "Check the indent (blanks, no tabs), the colon and the quotes of this line")
    except (YAMLError, ValueError, RecursionError) as error:
        # the reader of characters gives no line: find the first sign that is not allowed
        what = " ".join(str(error).split())[:120]
        bad = _NOT_TEXT.search(text)
        line = text.count("\n", 0, bad.start()) + 1 if bad else 0
        reader.stop(line, f"this is not text: {what}", "Save the file as plain UTF-8 text")
    if reader.stopped:
        return Tree(None, reader.lines, reader.problems)
    return Tree(reader.root, reader.lines, reader.problems)


def _refused(name: str, line: int, message: str, fix: str) -> Tree:
    return Tree(None, {}, [Problem(name, line, message, fix)])


class _Reader:
    """Builds the data from events; `take` says whether to go on."""

    def __init__(self, name: str) -> None:
        self.name = name
        self.problems: list[Problem] = []
        self.lines: dict[str, int] = {}
        self.root: Any = None
        self.stopped = False
        self._stack: list[_Open] = []
        self._documents = 0
        self._count = 0

    def stop(self, line: int, message: str, fix: str) -> None:
        self.problems.append(Problem(self.name, line, message, fix))
        self.stopped = True

    def take(self, event: Event) -> bool:
        line = event.start_mark.line + 1 if event.start_mark else 0
        self._count += 1
        if self._count > MOST:
            self.stop(line, f"more than {MOST:,} entries", "Split the file: one machine a file")
        elif isinstance(event, DocumentStartEvent):
            self._documents += 1
            if self._documents > 1:
                self.stop(line, "a second document starts here (---)", "One machine a file")
        elif isinstance(event, AliasEvent):
            self.stop(line, f"*{event.anchor} repeats an entry by name",
                      "Write the entry out; names for entries (& and *) are not used here")
        elif isinstance(event, CollectionEndEvent):
            self._stack.pop()
        elif isinstance(event, NodeEvent):
            self._node(event, line)
        return not self.stopped

    def _node(self, event: NodeEvent, line: int) -> None:
        if event.anchor:
            self.stop(line, f"&{event.anchor} names an entry",
                      "Write the entry out; names for entries (& and *) are not used here")
            return
        top = self._stack[-1] if self._stack else None
        if top is not None and top.kind == "map" and top.key is None:
            self._key(top, event, line)
            return
        if isinstance(event, ScalarEvent):
            self._put(top, self._scalar(event, line), line)
            return
        if len(self._stack) >= DEEPEST:
            self.stop(line, f"nested more than {DEEPEST} deep",
                      "A machine file needs six levels; check the indent and the brackets")
            return
        kind: Literal["map", "list"] = "map" if isinstance(event, MappingStartEvent) else "list"
        assert isinstance(event, (MappingStartEvent, SequenceStartEvent))
        data: Any = {} if kind == "map" else []
        path = self._put(top, data, line)
        self._stack.append(_Open(kind, path, data))

    def _key(self, top: _Open, event: NodeEvent, line: int) -> None:
        if not isinstance(event, ScalarEvent):
            self.stop(line, "a key must be one word or a list of ids with commas",
                      "Put quotes around the key, or check the indent")
            return
        key = str(event.value).strip()
        self._seen(key, line)
        if key in top.first:
            self.problems.append(Problem(
                self.name, line, f"{key} is here twice (first in line {top.first[key]})",
                "Join the two entries, or rename one"))
            top.skip = True
        else:
            top.first[key] = line
            path = f"{top.path}.{key}" if top.path else key
            self.lines[path] = line
        top.key = key

    def _seen(self, text: str, line: int) -> None:
        """What is written can be seen: no control characters."""
        if bad := _UNSEEN.search(text):
            self.problems.append(Problem(
                self.name, line, f"the control character U+{ord(bad[0]):04X} stands in this text",
                "Take it out: words are plain text"))

    def _put(self, top: _Open | None, value: Any, line: int) -> str:
        """Hang a value into the tree; its path."""
        if top is None:
            self.root = value
            return ""
        if top.kind == "list":
            path = f"{top.path}.{len(top.data)}"
            self.lines[path] = line
            top.data.append(value)
            return path
        key, top.key = top.key or "", None
        if top.skip:
            top.skip = False
            return f"{top.path}.{key} (again)"
        top.data[key] = value
        return f"{top.path}.{key}" if top.path else key

    def _scalar(self, event: ScalarEvent, line: int) -> Any:
        text = str(event.value)
        self._seen(text, line)
        if event.tag and event.tag != "!":
            self.problems.append(Problem(
                self.name, line, f"the tag {str(event.tag)[:40]} is not used here",
                "Leave the tag out; text may stand in quotes"))
            return text
        if not event.implicit[0]:  # quoted, or a block of text
            return text
        if text in _NULL:
            return None
        if text in _TRUE or text in _FALSE:
            return text in _TRUE
        if len(text) < 40 and _INT.fullmatch(text):
            return int(text)
        if len(text) < 40 and _FLOAT.fullmatch(text):
            return float(text)
        return text
