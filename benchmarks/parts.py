"""A supplier's list of 200,000 parts: taking it, and finding in it while a person types."""

from __future__ import annotations

import csv
import random
import statistics
import tempfile
import time
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import sqlite_utils

from knowngood.places.parts import take_list, try_list
from knowngood.places.record import At, Record
from knowngood.shop.list_text import decoded

PARTS = 200_000
TYPED = 400
NOUNS = """board bolt box brush bush cable cap carb clip clutch coil cover deck drum filter fuse
gasket grip guard guide harness housing key knob lead lever motor nut pack pawl pin plug pulley seal
shaft shield spring stator strap switch tank trigger valve washer wheel wire yoke"""
WORDS = NOUNS.split()
AT = At(datetime(2026, 5, 4, tzinfo=UTC), "benchmark")


def run() -> dict[str, Any]:
    """Import and search, the import beside a general library's import of the same file."""
    draw = random.Random(20260504)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        lines = _write(folder / "list.csv", draw)
        theirs = _timed(lambda: _their_import(folder))
        with Record.open(folder / "shop.db") as record:
            ours = _timed(lambda: _our_import(record, folder))
            again = _timed(lambda: _our_import(record, folder))
            typed = [text for line in draw.sample(lines, TYPED) for text in _as_typed(line, draw)]
            waits = [_timed(lambda text=text: record.log.prices.search(text)) for text in typed]
    waits.sort()
    rows = [
        _row("sqlite-utils: insert the CSV, then index numbers and words", theirs, "s", ""),
        _row("take the list: read, check, compare, store, index", ours, "s", ours / theirs),
        _row("take it again over itself", again, "s", again / theirs),
        _row("search after a key, median", 1000 * statistics.median(waits), "ms", ""),
        _row("search after a key, 95 of 100", 1000 * waits[int(0.95 * len(waits))], "ms", ""),
        _row("search after a key, slowest", 1000 * waits[-1], "ms", ""),
    ]
    return {
        "title": "Parts of a price list",
        "claim": "A list of 200,000 parts is taken in seconds, and is searched as one types.",
        "rows": rows,
        "notes": f"{PARTS} lines drawn, {len(typed)} searches: numbers and words, cut off anywhere "
        "as they are while somebody types. Times: of the general library's import in the same run.",
        "command": "python -m benchmarks parts",
    }


def _write(path: Path, draw: random.Random) -> list[tuple[str, str]]:
    lines = [
        (f"{draw.choice('ABCDEFGH')}{draw.randrange(10, 99)}-{n:06d}",
         " ".join(draw.choices(WORDS, k=3)))
        for n in range(PARTS)
    ]  # fmt: skip
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(["number", "words", "price", "replaced by"])
        for n, (number, words) in enumerate(lines):
            became = lines[n + 1][0] if n % 50 == 0 and n + 1 < PARTS else ""
            writer.writerow([number, words, f"{draw.randrange(100, 90_000) / 100:.2f}", became])
    return lines


def _as_typed(line: tuple[str, str], draw: random.Random) -> tuple[str, str]:
    number, words = line
    return number[: draw.randrange(1, len(number) + 1)], words[: draw.randrange(1, len(words) + 1)]


def _our_import(record: Record, folder: Path) -> None:
    data = (folder / "list.csv").read_bytes()
    trial = try_list(record, "Brackwater", "USD", data, "list.csv", None)
    take_list(record, trial, decoded(data)[0], AT)


def _their_import(folder: Path) -> None:
    database = sqlite_utils.Database(folder / "theirs.db")
    with (folder / "list.csv").open(newline="", encoding="utf-8") as file:
        table = database.table("part")
        table.insert_all(csv.DictReader(file))
    table.create_index(["number"])
    table.enable_fts(["number", "words"])
    database.close()


def _timed(work: Any) -> float:
    started = time.perf_counter()
    work()
    return time.perf_counter() - started


def _row(what: str, value: float, unit: str, times: float | str) -> dict[str, Any]:
    shown = round(times, 2) if isinstance(times, float) else times
    return {"what": what, "value": round(value, 2), "unit": unit, "times the library": shown}
