"""Changes in the text of a machine file that leave every other sign of it as it stands.

The places come from the parser's own marks; what is between them, comments and order and the way
it is written, is not touched. Values are written as YAML on one line.
"""

from __future__ import annotations

import io
import json
import re
from collections.abc import Mapping, Sequence
from typing import Any, Final

from ruamel.yaml import YAML
from ruamel.yaml.error import YAMLError
from ruamel.yaml.nodes import MappingNode, Node, ScalarNode, SequenceNode

_PLAIN: Final = re.compile(r"[A-Za-z][A-Za-z0-9_ .,/()'-]*|[0-9a-f]{64}")
_WORDS_OF_YAML: Final = frozenset(("yes", "no", "on", "off", "true", "false", "null", "y", "n"))

Value = str | float | Sequence[Any] | Mapping[str, Any]


class EditError(ValueError):
    """The text cannot be changed there; the message says why."""


def written(value: Value, flow: bool = True) -> str:
    """A value as YAML on one line; ``flow``: inside brackets, where a comma ends a text."""
    if isinstance(value, str):
        plain = _PLAIN.fullmatch(value) and value.casefold() not in _WORDS_OF_YAML
        safe = plain and value == value.strip() and not (flow and "," in value)
        return value if safe else json.dumps(value, ensure_ascii=False)
    if isinstance(value, Mapping):
        return f"{{{', '.join(f'{k}: {written(v)}' for k, v in value.items())}}}"
    if isinstance(value, Sequence):
        return f"[{', '.join(written(v) for v in value)}]"
    return f"{value:g}"


def with_entry(
    text: str, section: str, id: str, fields: Mapping[str, Value], after: str = ""
) -> str:
    """The text with a new entry in a section (made where it is missing), after the entry
    ``after`` or at its end. Raises EditError."""
    root = _root(text)
    pair = _pair(root, section)
    rows = [f"{name}: {written(value, flow=False)}" for name, value in fields.items()]
    if pair is None or (isinstance(pair[1], ScalarNode) and not pair[1].value.strip()):
        block = "".join(f"    {row}\n" for row in rows)
        if pair is None:
            start = text if text.endswith("\n") or not text else f"{text}\n"
            return f"{start}{section}:\n  {id}:\n{block}"
        end = _line_end(text, pair[0].end_mark.index)
        return f"{text[:end]}\n  {id}:\n{block.rstrip()}{text[end:]}"
    entries = pair[1]
    if not isinstance(entries, MappingNode) or not entries.value:
        raise EditError(f"{section} is no list of entries with names")
    if _pair(entries, id) is not None:
        raise EditError(f"{section} has an entry {id} already")
    last = (_pair(entries, after) if after else None) or entries.value[-1]
    if entries.flow_style:
        at = last[1].end_mark.index
        return f"{text[:at]}, {id}: {written(fields)}{text[at:]}"
    pad = " " * entries.value[0][0].start_mark.column
    at = _line_end(text, _end(last[1], text))
    block = "".join(f"\n{pad}  {row}" for row in rows)
    return f"{text[:at]}\n{pad}{id}:{block}{text[at:]}"


def with_field(text: str, section: str, id: str, name: str, value: Value) -> str:
    """The text with one field of an entry set; entry and section are made where they are
    missing. Raises EditError."""
    pair = _pair(_root(text), section)
    known = pair is not None and isinstance(pair[1], MappingNode)
    entry = _pair(pair[1], id) if pair is not None and known else None
    if entry is None:
        return with_entry(text, section, id, {name: value})
    fields = entry[1]
    if not isinstance(fields, MappingNode) or not fields.value:
        raise EditError(f"{section}.{id} has no fields")
    there = _pair(fields, name)
    if there is not None:
        start, end = there[1].start_mark.index, _end(there[1], text)
        return f"{text[:start]}{written(value, bool(fields.flow_style))}{text[end:]}"
    return _added(text, fields, name, written(value, bool(fields.flow_style)))


def with_item(text: str, path: Sequence[str], item: Mapping[str, Value], place: int = -1) -> str:
    """The text with one more item at the end of the list at ``path``, or with the item at
    ``place`` (from 0) replaced; the list, and what it stands in, is made where it is missing.
    Raises EditError."""
    node: Node = _root(text)
    for depth, name in enumerate(path, start=1):
        pair = _pair(node, name)
        if pair is None or _is_empty(pair[1]):
            return _with_list(text, node, pair, path[depth - 1 :], item)
        node = pair[1]
    if not isinstance(node, SequenceNode):
        raise EditError(f"{'.'.join(path)} is no list")
    if 0 <= place < len(node.value):
        old = node.value[place]
        return f"{text[: old.start_mark.index]}{written(item)}{text[_end(old, text) :]}"
    if node.flow_style:
        at = node.value[-1].end_mark.index
        return f"{text[:at]}, {written(item)}{text[at:]}"
    at = _line_end(text, _end(node, text))
    return f"{text[:at]}\n{' ' * node.start_mark.column}- {written(item)}{text[at:]}"


def _is_empty(node: Node) -> bool:
    """Nothing, [] or {}."""
    return not node.value.strip() if isinstance(node, ScalarNode) else not node.value


def _with_list(
    text: str, within: Node, empty: tuple[Node, Node] | None, path: Sequence[str],
    item: Mapping[str, Value],
) -> str:  # fmt: skip
    """A new list at the last name of ``path``; the first is a new name in ``within``, or one that
    is there and empty."""
    value: str = f"[{written(item)}]"
    for name in reversed(path[1:]):
        value = f"{{{name}: {value}}}"
    if empty is not None:
        start, end = empty[1].start_mark.index, empty[1].end_mark.index
        if start == end:  # nothing behind the colon
            start = end = text.index(":", empty[0].end_mark.index) + 1
            value = f" {value}"
        return f"{text[:start]}{value}{text[end:]}"
    if not isinstance(within, MappingNode) or not within.value:
        raise EditError(f"{path[0]} has no place: what it stands in has no entries with names")
    if not within.flow_style:
        pad = "\n" + " " * within.value[0][0].start_mark.column
        value = "".join(f"{pad}{'  ' * n}{name}:" for n, name in enumerate(path[1:], start=1))
        value += f"{pad}{'  ' * len(path)}- {written(item)}"
    return _added(text, within, path[0], value)


def _added(text: str, fields: MappingNode, name: str, value: str) -> str:
    """A mapping that is not empty with one more name at its end."""
    last = fields.value[-1][1]
    gap = "" if value.startswith("\n") else " "
    if fields.flow_style:
        at = last.end_mark.index
        return f"{text[:at]}, {name}:{gap}{value}{text[at:]}"
    pad = " " * fields.value[0][0].start_mark.column
    at = _line_end(text, _end(last, text))
    return f"{text[:at]}\n{pad}{name}:{gap}{value}{text[at:]}"


def _root(text: str) -> MappingNode:
    try:
        root = YAML(typ="rt", pure=True).compose(io.StringIO(text))
    except (YAMLError, ValueError, RecursionError) as error:
        raise EditError(f"this is no YAML that can be read: {error}") from error
    if not isinstance(root, MappingNode):
        raise EditError("this is no machine file")
    return root


def _pair(node: Node, name: str) -> tuple[Node, Node] | None:
    if not isinstance(node, MappingNode):
        return None
    return next(((key, value) for key, value in node.value if key.value == name), None)


def _end(node: Node, text: str) -> int:
    """Where the last sign of a value stands, comments and blank lines behind it left out."""
    if isinstance(node, MappingNode | SequenceNode) and not node.flow_style and node.value:
        last = node.value[-1]
        return _end(last[1] if isinstance(last, tuple) else last, text)
    index = int(node.end_mark.index)
    if isinstance(node, ScalarNode) and node.style in ("|", ">"):
        index = len(text[:index].rstrip())
    return index


def _line_end(text: str, index: int) -> int:
    """The end of the line, without its line end."""
    end = text.find("\n", index)
    end = len(text) if end < 0 else end
    return end - 1 if end and text[end - 1 : end] == "\r" else end
