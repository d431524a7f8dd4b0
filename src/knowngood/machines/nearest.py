"""The name somebody probably meant."""

from __future__ import annotations

import difflib
from collections.abc import Iterable


def nearest(word: str, known: Iterable[str]) -> str | None:
    """The known name closest to ``word``, or None when nothing is close."""
    names = [str(k) for k in known]
    folded = {n.casefold().replace("-", "_"): n for n in names}
    found = difflib.get_close_matches(
        word[:80].casefold().replace("-", "_"), list(folded), n=1, cutoff=0.6
    )
    return folded[found[0]] if found else None


def which_of(word: str, known: Iterable[str]) -> str:
    """The same, or all whose name has the word in it where there are several."""
    names = sorted(str(k) for k in known)
    wanted = word.strip().casefold().replace("_", "-").replace(" ", "-")
    holding = [n for n in names if wanted and wanted in n.casefold().replace("_", "-")]
    if len(holding) > 1:
        return f"Did you mean {', '.join(holding[:-1])} or {holding[-1]}?"
    return did_you_mean(holding[0] if holding else word, names)


def did_you_mean(word: str, known: Iterable[str], many: int = 8) -> str:
    """ "Did you mean pack_rest?", or the first names there are. Where no whole name is close, those
    with a close part are named: handle_bracket for "hndle"."""
    names = sorted(str(k) for k in known)
    close = nearest(word, names)
    if close:
        return f"Did you mean {close}?"
    parts = {n: n.casefold().replace("-", "_").split("_") for n in names}
    part = nearest(word, {p for found in parts.values() for p in found if len(p) > 3})
    holding = [n for n in names if part in parts[n]]
    if 0 < len(holding) <= 3:
        return f"Did you mean {' or '.join(holding)}?"
    if not names:
        return "There is none yet"
    more = ", ..." if len(names) > many else ""
    return f"There are: {', '.join(names[:many])}{more}"
