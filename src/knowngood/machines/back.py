"""How a step is said when it goes back, where nobody wrote it down: "Trigger assembly out" goes
back as "Put back: trigger assembly". The verbs are those of the bench; common practice."""

from __future__ import annotations

import re
from typing import Final

_THE: Final = r"(?:the |a |an )?"
_RULES: Final = (
    (re.compile(r"^(?:unplug|disconnect|part) " + _THE + r"(.+)$", re.I), "Together again"),
    (re.compile(r"^open (?:up )?" + _THE + r"(.+)$", re.I), "Close again"),
    (re.compile(r"^(?:lift|remove|pull|unscrew|unbolt|take|draw)(?: off| out| away)? " + _THE
                + r"(.+?)(?: off| out| away)?$", re.I), "Put back"),
    (re.compile(r"^(.+?) (?:unplugged|parted|apart|disconnected)$", re.I), "Together again"),
    (re.compile(r"^(.+?) (?:open|opened)$", re.I), "Close again"),
    (re.compile(r"^(.+?) (?:off|out|removed|away)$", re.I), "Put back"),
)  # fmt: skip


def back_words(words: str) -> str:
    """What is done when a step with these words goes back. Words that none of the usual verbs
    is in stay whole: "Put back as it was: ..."."""
    first, mark, rest = _split(words.strip())
    for rule, verb in _RULES:
        if (found := rule.match(first)) is not None:
            return f"{verb}: {_small(found[1])}{mark}{rest}"
    return f"Put back as it was: {_small(words.strip())}"


def _split(words: str) -> tuple[str, str, str]:
    """The step itself, and what is said behind it ("Cover off (8 screws)")."""
    found = re.search(r"\s+\(|, | - ", words)
    if found is None:
        return words, "", ""
    return words[: found.start()], found[0], words[found.end() :]


def _small(words: str) -> str:
    """Begun small, but for names such as PTO or T25."""
    return words if words[1:2].isupper() or words[1:2].isdigit() else words[:1].lower() + words[1:]
