"""Comments of a file that was written anew: those that went with a line that changed go back."""

from __future__ import annotations

import io
import re
from collections.abc import Sequence
from dataclasses import dataclass
from difflib import SequenceMatcher
from typing import Any

from ruamel.yaml import YAML
from ruamel.yaml.error import YAMLError
from ruamel.yaml.tokens import ScalarToken


@dataclass(frozen=True, slots=True)
class Comment:
    """``line`` from 0; ``behind``: something stands before it on that line."""

    line: int
    column: int
    text: str
    behind: bool


def comments_of(text: str) -> tuple[Comment, ...]:
    """Every comment of a YAML text, in order."""
    inside: set[int] = set()  # where a # belongs to a value
    for token in YAML(typ="safe", pure=True).scan(io.StringIO(text)):
        if isinstance(token, ScalarToken):
            inside.update(range(token.start_mark.index, token.end_mark.index))
    found, start = [], 0
    for number, line in enumerate(text.splitlines(keepends=True)):
        for sign in re.finditer(r"(?:^|(?<=\s))#", line):
            at = sign.start()
            if start + at not in inside:
                found.append(Comment(number, at, line[at:].rstrip(), bool(line[:at].strip())))
                break
        start += len(line)
    return tuple(found)


def end_note(text: str) -> tuple[str, str]:
    """The text up to its last line that is no comment, and the rest, which stays the end of it."""
    notes = {c.line for c in comments_of(text) if not c.behind}
    lines = text.splitlines(keepends=True)
    end = len(lines)
    while end and (end - 1 in notes or not lines[end - 1].strip()):
        end -= 1
    rest = "".join(lines[end:])
    return ("".join(lines[:end]), rest) if rest.strip() else (text, "")


def with_comments(old: str, new: str) -> str:
    """The new text with every comment of the old one: behind the same line where that is still
    there, else on a line of its own after the nearest line before it that is."""
    before, now = comments_of(old), comments_of(new)
    pairs = SequenceMatcher(None, [c.text for c in before], [c.text for c in now], False)
    there = {a + n for a, _, size in pairs.get_matching_blocks() for n in range(size)}
    lost = [c for n, c in enumerate(before) if n not in there]
    if not lost:
        return new
    put = _put_back(old, new, before, now, lost)
    if _data(put) == _data(new):
        return put
    end = "" if new.endswith("\n") or not new else "\n"
    return f"{new}{end}" + "".join(f"{c.text}\n" for c in lost)


def _put_back(
    old: str, new: str, before: Sequence[Comment], now: Sequence[Comment], lost: Sequence[Comment]
) -> str:
    lines = new.splitlines()
    was, is_now = _bare(old.splitlines(), before), _bare(lines, now)
    place = {-1: -1}  # of each old line that is still there, by number
    for a, b, size in SequenceMatcher(None, was, is_now, False).get_matching_blocks():
        place.update((a + n, b + n) for n in range(size) if was[a + n])
    taken = {c.line for c in now}
    after: dict[int, list[str]] = {}
    for one in lost:
        if one.behind and one.line in place and place[one.line] not in taken:
            at = place[one.line]
            lines[at] = f"{lines[at].rstrip():<{one.column - 1}} {one.text}"
            taken.add(at)
            continue
        at = next(place[n] for n in range(one.line, -2, -1) if n in place)
        pad = " " * (0 if one.behind else one.column)
        after.setdefault(at, []).append(f"{pad}{one.text}")
    whole = list(after.get(-1, ()))
    for number, line in enumerate(lines):
        whole += [line, *after.get(number, ())]
    return "\n".join(whole) + "\n"


def _bare(lines: Sequence[str], comments: Sequence[Comment]) -> list[str]:
    """The lines without their comments, as they are compared."""
    ends = {c.line: c.column for c in comments}
    return [" ".join(line[: ends.get(n)].split()) for n, line in enumerate(lines)]


def _data(text: str) -> Any:
    try:
        return YAML(typ="safe", pure=True).load(text)
    except YAMLError:
        return None
