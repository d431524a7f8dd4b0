"""The words by which a job is found: an index of the embedded database, or a plain search.

A person types the start of words: of the tag's number, the customer's name, maker, model, the
complaint; of a serial any piece of three signs or more, such as its last four.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Sequence

from knowngood.store.sql import Row, Statements

SHORTEST = 3  # signs of a piece of a serial
LONGEST = 24
MOST_WORDS = 8

_WORD = re.compile(r"[^\W_]+")

INDEX = (
    "CREATE VIRTUAL TABLE job_words USING fts5 (words, stands, content='job_row', "
    "content_rowid='id', prefix='1 2 3 4', tokenize='unicode61')"
)


def plain_words(text: str) -> list[str]:
    """Small letters without accents, split where no letter or digit stands."""
    bare = unicodedata.normalize("NFKD", text.casefold())
    return _WORD.findall("".join(sign for sign in bare if not unicodedata.combining(sign)))


def words_of(number: str, serial: str, texts: Iterable[str]) -> str:
    """All that a job is found by, a blank at either end."""
    found = [*plain_words(number), *(word.lstrip("0") for word in plain_words(number))]
    whole = "".join(plain_words(serial))[:LONGEST]
    found += [whole[at:] for at in range(len(whole) - SHORTEST + 1)] or [whole]
    for text in texts:
        found += plain_words(text)
    return f" {' '.join(dict.fromkeys(word for word in found if word))} "


def has_index(read: Statements) -> bool:
    """Whether this database can hold an index of words."""
    return bool(read.rows("SELECT 1 FROM pragma_module_list WHERE name = 'fts5'"))


def index_row(write: Statements, id: int, old: Sequence[str] | None, new: Sequence[str]) -> None:
    """Keep the index as the row; `old` and `new` are its words and where it stands."""
    if old == new:
        return
    if old is not None:
        write.execute(
            "INSERT INTO job_words (job_words, rowid, words, stands) VALUES ('delete', ?, ?, ?)",
            (id, *old),
        )
    write.execute("INSERT INTO job_words (rowid, words, stands) VALUES (?, ?, ?)", (id, *new))


def matching(read: Statements, columns: str, text: str, limit: int, indexed: bool) -> list[Row]:
    """Rows of jobs that have all these words, the open ones first, each group the newest first."""
    words = plain_words(text)[:MOST_WORDS]
    if not words:
        return []
    if not indexed:
        like = " AND ".join("words LIKE ?" for _ in words)
        return read.rows(
            f"SELECT {columns} FROM job_row WHERE {like} ORDER BY stands DESC, id DESC LIMIT ?",
            [*(f"% {word}%" for word in words), limit],
        )
    found: dict[int, None] = {}
    whole, begun = (" ".join(f'"{word}"{more}' for word in words) for more in ("", " *"))
    for stands in ("open", "closed"):
        for asked in (whole, begun):  # a word in full costs the same however many jobs there are
            room = limit - len(found)
            if room > 0:
                rows = read.rows(
                    "SELECT rowid FROM job_words WHERE job_words MATCH ? "
                    "ORDER BY rowid DESC LIMIT ?",
                    (f"stands : {stands} AND words : ({asked})", limit),
                )
                found |= dict.fromkeys([row[0] for row in rows if row[0] not in found][:room])
    marks = ", ".join("?" for _ in found)
    rows = read.rows(f"SELECT id, {columns} FROM job_row WHERE id IN ({marks})", list(found))
    by_id = {row[0]: row[1:] for row in rows}
    return [by_id[id] for id in found if id in by_id]
