"""``knowngood sum NAME key=value ...``: the textbook sums of the bench, with unit and source.

Exit codes: 0 done; 2 the name or an input is wrong, every problem with an example that works.
"""

from __future__ import annotations

import json
import math
import sys
import textwrap
from collections.abc import Sequence

from knowngood.calculate.all_sums import SUMS
from knowngood.calculate.sums import Input, Sum, Worked, doubt_words, nearest, unit_words, work

WIDTH = 96


def run_sum(name: str | None, inputs: Sequence[str], json_out: bool = False) -> int:
    """Do one sum and print it; without a name list them, without inputs say what it takes."""
    if name is None:
        return _list(json_out)
    done = SUMS.get(name)
    if done is None:
        print(f"no sum {name[:80]!r}. {nearest(name, list(SUMS))}", file=sys.stderr)
        print("knowngood sum lists them all", file=sys.stderr)
        return 2
    if not inputs:
        return _describe(done, json_out)
    texts, problems = _split(inputs)
    worked = problems or work(done, texts)
    if isinstance(worked, list):
        for problem in worked:
            print(problem, file=sys.stderr)
        print(f"Try: knowngood sum {done.name} {done.example}", file=sys.stderr)
        return 2
    if json_out:
        print(json.dumps(worked_json(worked), ensure_ascii=False, allow_nan=False))
    else:
        _show(worked)
    return 0


def worked_json(worked: Worked) -> dict[str, object]:
    """A sum done, as plain JSON values: numbers in base units, null for no limit."""
    done = worked.sum
    return {
        "sum": done.name,
        "given": dict(worked.given),
        "results": [
            {
                "name": r.name,
                "value": r.value if math.isfinite(r.value) else None,
                "u": r.u,
                "unit": r.unit,
                "text": r.text,
            }
            for r in worked.results
        ],
        "says": list(worked.says),
        "formula": done.formula,
        "source": done.source,
        "stops": done.stops,
        "doubt": doubt_words(worked),
        "caution": done.caution,
    }


def _split(inputs: Sequence[str]) -> tuple[dict[str, str], list[str]]:
    """The inputs by name; a piece without `=` is most likely a unit cut off by the shell."""
    texts: dict[str, str] = {}
    problems = []
    last = ""
    for piece in inputs:
        name, sign, value = piece.partition("=")
        name = name.strip()
        if not sign:
            hint = f'; quote it: {last}="{texts[last]} {piece}"' if last in texts else ""
            problems.append(f"{piece[:80]!r} is not name=value{hint}")
        elif name in texts:
            problems.append(f"{name} is given twice; give it once")
        else:
            texts[name] = value
            last = name
    return texts, problems


def _show(worked: Worked) -> None:
    done = worked.sum
    print(done.title)
    width = max((len(r.name) for r in worked.results), default=0)
    for result in worked.results:
        print(f"  {result.name.ljust(width)}  {result.text}")
    for sentence in worked.says:
        _line("  ", sentence)
    if said := doubt_words(worked):
        _line("  ", f"({said})")
    elif at := _takes_doubt(done):
        _line("  ", f'(no ± was given; {at.name}="{at.example} ± 2 %" would be carried to the'
              " results)")  # fmt: skip
    if any(r.u and 4 * r.u > abs(r.value) for r in worked.results):
        _line("  ", "(where ± is large against the value, first order is rough: try both ends too)")
    _line("With:     ", ", ".join(f"{name} {text}" for name, text in worked.given))
    _notes(done)


def _takes_doubt(done: Sum) -> Input | None:
    """The first input whose ± the results would carry."""
    numbers = (i for i in done.inputs if not i.many and i.kind not in ("word", "words", "gauge"))
    return next((i for i in numbers if i.default is None), None) if (
        done.doubt == "carried") else None


def _notes(done: Sum) -> None:
    if done.caution:
        _line("Caution:  ", done.caution)
    _line("Formula:  ", done.formula)
    _line("Source:   ", done.source)
    _line("Not true: ", done.stops)


def _describe(done: Sum, json_out: bool) -> int:
    if json_out:
        print(json.dumps(_described(done), ensure_ascii=False))
        return 0
    print(f"{done.title}\n")
    width = max(len(i.name) for i in done.inputs)
    for one in done.inputs:
        need = ""
        if one.default is not None:
            need = f" (else {one.default})" if one.default else " (may be left out)"
        takes = unit_words(one)
        _line(f"  {one.name.ljust(width)}  ", one.what + (f" [{takes}]" if takes else "") + need)
    print(f"\n  knowngood sum {done.name} {done.example}\n")
    _notes(done)
    return 0


def _described(done: Sum) -> dict[str, object]:
    return {
        "sum": done.name,
        "title": done.title,
        "inputs": [
            {
                "name": i.name,
                "what": i.what,
                "takes": unit_words(i),
                "example": i.example,
                "default": i.default or None,
                "needed": i.default is None,
            }
            for i in done.inputs
        ],
        "formula": done.formula,
        "source": done.source,
        "stops": done.stops,
        "caution": done.caution,
    }


def _list(json_out: bool) -> int:
    if json_out:
        print(json.dumps([_described(one) for one in SUMS.values()], ensure_ascii=False))
        return 0
    width = max(map(len, SUMS))
    for one in SUMS.values():
        print(f"{one.name.ljust(width)}  {one.title}")
    print("\nknowngood sum NAME says what it takes, such as: knowngood sum wire-drop")
    return 0


def _line(head: str, text: str) -> None:
    wrapped = textwrap.wrap(text, WIDTH - len(head)) or [""]
    print(head + ("\n" + " " * len(head)).join(wrapped))
