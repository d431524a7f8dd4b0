"""Text of a circuit file to plain lists, tables and texts, with the line of each.

Only the shapes that such a file needs are read: no anchors, aliases or tags (which can blow a few
lines up to gigabytes), every scalar as the text it is ("no" stays "no"), limits on size and depth.
"""

from __future__ import annotations

from typing import Any, Final

from ruamel.yaml import YAML
from ruamel.yaml.error import MarkedYAMLError, YAMLError
from ruamel.yaml.events import (
    AliasEvent,
    DocumentStartEvent,
    MappingEndEvent,
    MappingStartEvent,
    ScalarEvent,
    SequenceEndEvent,
    SequenceStartEvent,
)

from knowngood.measure.problem import Problem

Path = tuple[str | int, ...]

MOST_TEXT: Final = 1_000_000
_DEEPEST: Final = 8
_MOST_LINES: Final = 400_000


def read_text(text: str, name: str) -> tuple[Any, dict[Path, int], list[Problem]]:
    """(value, line of each path, problems); the value is None if it cannot be read on."""
    if len(text) > MOST_TEXT:
        long = Problem(name, 0, f"{len(text)} characters, more than {MOST_TEXT}")
        return None, {}, [long]
    builder = _Builder(name)
    try:
        for event in YAML(typ="safe", pure=True).parse(text):
            if not builder.take(event):
                break
    except MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        line = mark.line + 1 if mark else 0
        what = " ".join(str(error.problem or error.context or "cannot be read").split())[:120]
        builder.problems.append(Problem(name, line, f"not YAML: {what}", "Mind indents and quotes"))
    except (YAMLError, ValueError, RecursionError, OverflowError) as error:
        what = " ".join(str(error).split())[:120]
        builder.problems.append(Problem(name, 0, f"cannot be read: {what}"))
    if not builder.problems and builder.value is None:
        builder.problems.append(Problem(name, 0, "the file is empty", "Write ground and elements"))
    return builder.value, builder.lines, builder.problems


class _Builder:
    """Puts events together; `value` is the finished document."""

    def __init__(self, name: str) -> None:
        self.name = name
        self.value: Any = None
        self.lines: dict[Path, int] = {}
        self.problems: list[Problem] = []
        self.stack: list[Any] = []
        self.path: list[str | int] = []
        self.key: str | None = None
        self.documents = 0

    def take(self, event: Any) -> bool:
        """False: stop reading."""
        line = event.start_mark.line + 1 if event.start_mark else 0
        if isinstance(event, DocumentStartEvent):
            self.documents += 1
            return self.documents == 1 or self.bad(line, "a second document", "Keep one a file")
        if isinstance(event, AliasEvent) or getattr(event, "anchor", None):
            return self.bad(line, "anchors and aliases are not read here", "Write the values out")
        if getattr(event, "tag", None):
            return self.bad(line, f"the tag {str(event.tag)[:40]} is not read here", "Leave it out")
        if isinstance(event, ScalarEvent):
            return self.scalar(str(event.value), line)
        if isinstance(event, MappingStartEvent | SequenceStartEvent):
            return self.start({} if isinstance(event, MappingStartEvent) else [], line)
        if isinstance(event, MappingEndEvent | SequenceEndEvent):
            self.stack.pop()
            if self.path:
                self.path.pop()
        return True

    def bad(self, line: int, message: str, fix: str) -> bool:
        self.problems.append(Problem(self.name, line, message, fix))
        return False

    def scalar(self, text: str, line: int) -> bool:
        if self.stack and isinstance(self.stack[-1], dict) and self.key is None:
            if text in self.stack[-1]:
                message = f"{text[:60]!r} stands twice"
                self.problems.append(Problem(self.name, line, message, "Keep one"))
            self.key = text
            self.lines[(*self.path, text)] = line
            return True
        return self.put(text, line) is not None

    def start(self, value: Any, line: int) -> bool:
        if len(self.stack) >= _DEEPEST:
            return self.bad(line, f"nested deeper than {_DEEPEST}", "Write it flatter")
        if self.stack and isinstance(self.stack[-1], dict) and self.key is None:
            return self.bad(line, "a list or table as a key", "A key is one word, then a colon")
        if not self.stack:
            self.value = value
            self.lines[()] = line
        else:
            self.path.append(self.put(value, line))
        self.stack.append(value)
        return len(self.lines) < _MOST_LINES or self.bad(line, "too many values", "")

    def put(self, value: Any, line: int) -> str | int:
        """Into what is open; its key or number there."""
        if not self.stack:
            self.value = value
            return ""
        top = self.stack[-1]
        if isinstance(top, dict):
            key: str | int = self.key or ""
            self.key = None
            top[key] = value
        else:
            key = len(top)
            top.append(value)
        self.lines[(*self.path, key)] = line
        return key
