"""The tables of the record, their version, and how a record is made or checked."""

from __future__ import annotations

import uuid

from knowngood import __version__
from knowngood.store.problem import NewerStore
from knowngood.store.rows import ROWS, make_rows
from knowngood.store.sql import Database, Statements

SCHEMA = 2
"""Version of the tables. A change adds a step to `bring_up` and one here."""

TABLES = (
    "CREATE TABLE store_fact (name TEXT PRIMARY KEY, value TEXT NOT NULL)",
    """CREATE TABLE event (
        seq INTEGER PRIMARY KEY,
        job TEXT NOT NULL,
        kind TEXT NOT NULL,
        version INTEGER NOT NULL,
        device TEXT NOT NULL,
        device_seq INTEGER NOT NULL,
        based_on INTEGER NOT NULL,
        device_time TEXT NOT NULL,
        server_time TEXT NOT NULL,
        zone TEXT NOT NULL,
        by_name TEXT NOT NULL,
        body TEXT NOT NULL,
        UNIQUE (device, device_seq)
    )""",
    "CREATE INDEX event_of_job ON event (job, seq)",
    "CREATE TABLE counter (prefix TEXT PRIMARY KEY, last INTEGER NOT NULL)",
)


def bring_up(database: Database) -> None:
    """Make the tables of a new record, or bring those of an old one up to this version.

    Raises NewerStore for a record that a newer program made.
    """
    with database.reading() as read:
        known = facts(read) if database.has_table(read, "store_fact") else {}
    if not known:
        with database.writing() as write:
            if not database.has_table(write, "store_fact"):  # nobody was faster
                for statement in (*TABLES, *database.guards):
                    write.execute(statement)
                for name, value in (
                    ("schema", str(SCHEMA)),
                    ("made_by", __version__),
                    ("id", uuid.uuid4().hex),
                ):
                    write.execute("INSERT INTO store_fact VALUES (?, ?)", (name, value))
            known = facts(write)
    _check(database, known)
    if known.get("rows") != ROWS:
        with database.writing() as write:
            known = facts(write)
            _check(database, known)  # what opened it meanwhile may have been newer
            if known.get("rows") != ROWS:
                make_rows(database, write)
                for name, value in (("rows", ROWS), ("schema", str(SCHEMA))):
                    write.execute("DELETE FROM store_fact WHERE name = ?", (name,))
                    write.execute("INSERT INTO store_fact VALUES (?, ?)", (name, value))


def _check(database: Database, known: dict[str, str]) -> None:
    if int(known["schema"]) > SCHEMA:
        raise NewerStore(
            f"The record at {database.place} was made by knowngood {known['made_by']} "
            f"(record version {known['schema']}). This is knowngood {__version__}, which reads "
            f"record versions up to {SCHEMA}. Nothing was changed. Update this program, or go "
            f"on from a backup made before the newer one was used."
        )


def facts(read: Statements) -> dict[str, str]:
    """schema, made_by (the program's version), id, and rows (their version) of a record."""
    return {name: value for name, value in read.rows("SELECT name, value FROM store_fact")}
