"""``knowngood isolate TASK.json``: the cheapest next step of a bare task.

Exit codes: 0 done; 2 the task is wrong, every problem is listed with its place; 3 no answer.
"""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import Any

from knowngood.isolate.planner import Plan, no_answer, plan, too_large
from knowngood.isolate.policy import policy_json
from knowngood.isolate.task import Task, unanswerable
from knowngood.isolate.task_file import parse_task

MOST_BYTES = 64_000_000
PATIENCE = 10.0
BENCH_PATIENCE = 0.15


def isolate(
    task_file: str | Path,
    json_out: bool = False,
    deadline: float | None = None,
    no_exact: bool = False,
) -> int:
    """Plan the task in this file (``-``: standard input) and print the answer; exit code.

    ``deadline`` in seconds; without one the search runs until it is exact, 10 s at most, or
    0.15 s with ``no_exact``.
    """
    if deadline is not None and not 0 < deadline <= 86400:
        print("--deadline: must be above 0 s and at most 86400 s", file=sys.stderr)
        return 2
    text = _read(task_file)
    if text is None:
        return 2
    task, problems = parse_task(text)
    if task is None:
        for p in problems:
            print(str(p), file=sys.stderr)
        print(f"{len(problems)} problem(s) in {task_file}; nothing was planned", file=sys.stderr)
        return 2
    if reason := too_large(task):
        print(f"No answer: {reason}.", file=sys.stderr)
        return 3
    if pair := unanswerable(task):
        print(f"No answer: {no_answer(pair)}.", file=sys.stderr)
        return 3
    # A plan may be as deep as there are steps; Python's own limit is meant for mistakes.
    sys.setrecursionlimit(max(sys.getrecursionlimit(), 2000 + 12 * _steps(task)))
    limit = deadline if deadline is not None else BENCH_PATIENCE if no_exact else PATIENCE
    answer = plan(task, deadline=limit, exact=False if no_exact else None)
    if json_out:
        print(json.dumps(answer_json(answer), ensure_ascii=False, allow_nan=False))
    else:
        _show(answer)
    return 0


def answer_json(answer: Plan) -> dict[str, Any]:
    """The answer as plain JSON values, in money and seconds."""
    return {
        "expected_price": answer.expected_price,
        "exact": answer.exact,
        "lower": answer.lower,
        "upper": answer.upper,
        "seconds": round(answer.seconds, 6),
        "next": [
            {"kind": s.kind, "id": s.id, "price": s.price, "lower": s.lower, "upper": s.upper}
            for s in answer.next
        ],
        "policy": policy_json(answer.policy),
    }


def _steps(task: Task) -> int:
    return len(task.tests) + len(task.parts)


def _read(task_file: str | Path) -> str | None:
    try:
        if str(task_file) == "-":
            raw = sys.stdin.buffer.read(MOST_BYTES + 1)
        else:
            with open(task_file, "rb") as f:
                raw = f.read(MOST_BYTES + 1)
    except (OSError, ValueError) as e:
        reason = e.strerror if isinstance(e, OSError) else str(e)
        print(f"{task_file}: cannot be read: {reason}", file=sys.stderr)
        return None
    if len(raw) > MOST_BYTES:
        print(f"{task_file}: larger than {MOST_BYTES // 1_000_000} MB", file=sys.stderr)
        return None
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as e:
        print(f"{task_file}: not UTF-8 at byte {e.start}; save it as UTF-8", file=sys.stderr)
        return None


def _show(answer: Plan) -> None:
    word = "exact" if answer.exact else f"the best possible is {answer.lower:.2f} or more"
    print(f"Expected price {answer.expected_price:.2f} ({word})")
    print("Next, cheapest first:")
    for s in answer.next[:12]:
        what = f"{s.kind.replace('_', ' ')} {s.id}".strip()
        print(f"  {s.price:10.2f}  {what}")
    if len(answer.next) > 12:
        print(f"  and {len(answer.next) - 12} more")


def main() -> int:
    """``python -m knowngood.cli.isolate``: the same command by itself."""
    p = argparse.ArgumentParser(prog="knowngood isolate", description=__doc__)
    p.add_argument("task_file", metavar="TASK.json")
    p.add_argument("--json", action="store_true", dest="json_out")
    p.add_argument("--deadline", type=float, metavar="SECONDS")
    p.add_argument("--no-exact", action="store_true")
    a = p.parse_args()
    return isolate(a.task_file, a.json_out, a.deadline, a.no_exact)


if __name__ == "__main__":
    sys.exit(main())
