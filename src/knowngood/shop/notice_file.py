"""The shop's own list of recalls and service notices: its text to Notices, with every problem."""

from __future__ import annotations

from typing import Annotated, Final

from pydantic import Field, ValidationError

from knowngood.machines.parse import tidy
from knowngood.machines.tree import read_tree
from knowngood.measure.problem import Problem
from knowngood.shop.form_words import form_problems
from knowngood.shop.programme import Notice
from knowngood.shop.programme_file import Form, NoticeSpec, Words, range_problems

MOST: Final = 5000
_EXAMPLE: Final = "See docs/programme-files.md for a worked one"


class ListedSpec(NoticeSpec):
    maker: Words
    source: Words


class ListSpec(Form):
    notices: Annotated[dict[Words, ListedSpec], Field(min_length=1, max_length=MOST)]


def is_notices(text: str, name: str) -> bool:
    """Whether a file can be nothing but a list of notices: it has them and nothing else."""
    data = read_tree(text, name).data
    return isinstance(data, dict) and set(data) == {"notices"}


def parse_notices(
    text: str, name: str, kept: bool = False
) -> tuple[tuple[Notice, ...], list[Problem]]:
    """The notices of a file; empty when anything is wrong with it, and then all that is wrong.
    `kept`: it was taken once, so that its ranges of serials stand as they were taken."""
    tree = read_tree(text, name)
    problems = list(tree.problems)
    if not isinstance(tree.data, dict):
        if not problems:
            problems.append(Problem(name, 1, "the file is no list of notices", _EXAMPLE))
        return (), problems
    try:
        spec = ListSpec.model_validate(tree.data)
    except ValidationError as error:
        keys = {*ListedSpec.model_fields, *ListSpec.model_fields}
        return (), tidy([*problems, *form_problems(error, tree.lines, name, keys, _EXAMPLE)], name)
    if not kept:
        problems += range_problems(spec.notices, tree.lines, name)
    if problems:
        return (), tidy(problems, name)
    return tuple(
        Notice(id_, n.words, tuple(n.models), n.serials[0], n.serials[1], n.stop_use, n.maker,
               n.source)
        for id_, n in spec.notices.items()
    ), []  # fmt: skip
