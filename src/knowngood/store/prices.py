"""The suppliers' price lists beside the record: taken whole, found by number or by words.

The tables hold the list that stands; that it was taken is an entry of the stockroom, written in the
same transaction, and its file stays among the files, so that it can be taken again. They are made
when the first list is taken.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass
from datetime import datetime
from decimal import Decimal

from knowngood.shop.money import Money
from knowngood.shop.pricelist import Columns, PriceLine, PriceList
from knowngood.shop.supersession import same_number
from knowngood.store.sql import Database, Statements
from knowngood.store.words import has_index, plain_words

MOST_WORDS = 8
MOST_STEPS = 30  # of a chain of numbers

_TABLES = (
    """CREATE TABLE IF NOT EXISTS price_list (
        maker TEXT PRIMARY KEY, currency TEXT NOT NULL, columns TEXT NOT NULL,
        digest TEXT NOT NULL, taken_at TEXT NOT NULL, by_name TEXT NOT NULL, parts INTEGER NOT NULL
    )""",
    """CREATE TABLE IF NOT EXISTS part_price (
        id INTEGER PRIMARY KEY, maker TEXT NOT NULL, number_key TEXT NOT NULL, number TEXT NOT NULL,
        words TEXT NOT NULL, price TEXT NOT NULL, became TEXT NOT NULL, found_by TEXT NOT NULL
    )""",
    "CREATE INDEX IF NOT EXISTS part_price_number ON part_price (number_key)",
    "CREATE INDEX IF NOT EXISTS part_price_maker ON part_price (maker)",
)
_INDEX = (
    "CREATE VIRTUAL TABLE IF NOT EXISTS part_words USING fts5 (found_by, content='part_price', "
    "content_rowid='id', prefix='1 2 3', tokenize='unicode61')"
)


@dataclass(frozen=True, slots=True)
class Taken:
    """A list as it was taken last. `digest` of its file."""

    maker: str
    currency: str
    columns: Columns
    digest: str
    taken_at: datetime
    by: str
    parts: int


@dataclass(frozen=True, slots=True)
class Priced:
    """A part of a list; `chain` from the number asked for to the one to order, both ends in it."""

    maker: str
    number: str
    words: str
    price: Decimal
    currency: str
    chain: tuple[str, ...]

    @property
    def money(self) -> Money:
        return Money(self.price, self.currency)


class PriceBook:
    """All price lists of a record. Every method raises StoreProblem in the person's words."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def lists(self) -> tuple[Taken, ...]:
        """The lists by maker."""
        with self._database.reading() as read:
            if not self._there(read):
                return ()
            rows = read.rows(
                "SELECT maker, currency, columns, digest, taken_at, by_name, parts "
                "FROM price_list ORDER BY maker"
            )
        return tuple(
            Taken(r[0], r[1], Columns(**json.loads(r[2])), r[3], datetime.fromisoformat(r[4]),
                  r[5], r[6])
            for r in rows
        )  # fmt: skip

    def lines(self, maker: str) -> Mapping[str, PriceLine]:
        """The whole list of a maker by `same_number`; empty when there is none."""
        with self._database.reading() as read:
            if not self._there(read):
                return {}
            rows = read.rows(
                "SELECT number_key, number, words, price, became FROM part_price WHERE maker = ? "
                "ORDER BY id",
                (maker,),
            )
        return {key: PriceLine(number, words, Decimal(price), became)
                for key, number, words, price, became in rows}  # fmt: skip

    def find(self, number: str, maker: str = "") -> tuple[Priced, ...]:
        """The part to order for a number, of each maker that has it, its chain followed."""
        with self._database.reading() as read:
            if not self._there(read):
                return ()
            found = []
            for (of,) in read.rows(
                "SELECT DISTINCT maker FROM part_price "
                "WHERE number_key = ? AND (? = '' OR maker = ?) ORDER BY maker",
                (same_number(number), maker, maker),
            ):
                found.append(_followed(read, of, number))
        return tuple(found)

    def search(self, text: str, limit: int = 20) -> tuple[Priced, ...]:
        """Parts whose number begins so, then those with all these words (or their beginnings)."""
        key, words = same_number(text), plain_words(text)[:MOST_WORDS]
        with self._database.reading() as read:
            if not words or not self._there(read):
                return ()
            ids: dict[int, None] = {}
            if key:
                for (id_,) in read.rows(
                    "SELECT id FROM part_price WHERE number_key >= ? AND number_key < ? "
                    "ORDER BY number_key LIMIT ?",
                    (key, key + "\U0010ffff", limit),
                ):
                    ids[id_] = None
            if len(ids) < limit:
                ids |= dict.fromkeys(_by_words(read, words, limit))
            marks = ", ".join("?" for _ in list(ids)[:limit])
            rows = read.rows(
                f"SELECT p.id, p.maker, p.number, p.words, p.price, l.currency, p.became "
                f"FROM part_price p JOIN price_list l ON l.maker = p.maker WHERE p.id IN ({marks})",
                list(ids)[:limit],
            )
        by_id = {r[0]: r[1:] for r in rows}
        return tuple(
            Priced(m, n, w, Decimal(p), c, (n, became) if became else (n,))
            for m, n, w, p, c, became in (by_id[i] for i in ids if i in by_id)
        )

    def _there(self, read: Statements) -> bool:
        return self._database.has_table(read, "part_price")


def taking(
    maker: str, currency: str, listed: PriceList, digest: str, now: datetime, by: str
) -> Callable[[Statements], None]:
    """What replaces a maker's list by this one within a transaction that has more to write."""

    def work(write: Statements) -> None:
        indexed = has_index(write)
        for statement in (*_TABLES, *([_INDEX] if indexed else [])):
            write.execute(statement)
        _empty(write, maker)
        rows = (
            (maker, key, one.number, one.words, str(one.price), one.became, _found_by(one))
            for key, one in listed.lines.items()
        )
        write.many(
            "INSERT INTO part_price (maker, number_key, number, words, price, became, found_by)"
            " VALUES (?, ?, ?, ?, ?, ?, ?)",
            rows,
        )
        if indexed:
            write.execute("INSERT INTO part_words (part_words) VALUES ('rebuild')")
        columns = json.dumps(asdict(listed.columns))
        write.execute(
            "INSERT INTO price_list VALUES (?, ?, ?, ?, ?, ?, ?)",
            (maker, currency, columns, digest, now.isoformat(), by, len(listed.lines)),
        )

    return work


def dropping(maker: str) -> Callable[[Statements], None]:
    """What takes a maker's list, which is there, away within such a transaction."""

    def work(write: Statements) -> None:
        _empty(write, maker)
        if has_index(write):
            write.execute("INSERT INTO part_words (part_words) VALUES ('rebuild')")

    return work


def _empty(write: Statements, maker: str) -> None:
    write.execute("DELETE FROM part_price WHERE maker = ?", (maker,))
    write.execute("DELETE FROM price_list WHERE maker = ?", (maker,))


def _found_by(one: PriceLine) -> str:
    return " ".join(dict.fromkeys([*plain_words(one.number), *plain_words(one.words)]))


def _by_words(read: Statements, words: list[str], limit: int) -> list[int]:
    if has_index(read):
        asked = " ".join(f'"{word}" *' for word in words)
        rows = read.rows(
            "SELECT rowid FROM part_words WHERE part_words MATCH ? LIMIT ?", (asked, limit)
        )
    else:
        like = " AND ".join("' ' || found_by LIKE ?" for _ in words)
        rows = read.rows(
            f"SELECT id FROM part_price WHERE {like} LIMIT ?",
            [*(f"% {word}%" for word in words), limit],
        )
    return [row[0] for row in rows]


def _followed(read: Statements, maker: str, number: str) -> Priced:
    """The end of a number's chain within one maker's list, as far as the list knows it. Where the
    numbers of an old list go in a circle, it is gone round once, back to the number asked for."""
    chain: list[str] = []
    first = last = None
    seen: set[str] = set()
    asked = number
    for _ in range(MOST_STEPS):
        rows = read.rows(
            "SELECT p.number, p.words, p.price, l.currency, p.became FROM part_price p "
            "JOIN price_list l ON l.maker = p.maker WHERE p.maker = ? AND p.number_key = ?",
            (maker, same_number(asked)),
        )
        if not rows:
            chain.append(asked)  # the list names a number that it does not have
            break
        last = rows[0]
        first = first or last
        chain.append(last[0])
        if same_number(asked) in seen:
            last, chain = first, [*chain[:-1], first[0]]
            break
        seen.add(same_number(asked))
        if not last[4]:
            break
        asked = last[4]
    assert last is not None
    _, words, price, currency, _ = last
    return Priced(maker, chain[-1], words, Decimal(price), currency, tuple(chain))
