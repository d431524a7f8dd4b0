"""One database as transactions: the embedded one, with every failure said in words.

The statements in `log` keep to what SQLite and PostgreSQL both understand; this file holds what
differs. `writing` takes the one write lock at its start, so what is read inside it still holds
when it commits.
"""

from __future__ import annotations

import sqlite3
import threading
import time
from collections.abc import Iterable, Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path
from typing import Any, Protocol

from knowngood.store.problem import StoreProblem

Row = tuple[Any, ...]
BUSY_SECONDS = 5.0


class Statements(Protocol):
    """What one transaction can do. Values go in by `?`."""

    def execute(self, sql: str, values: Sequence[Any] = ()) -> Any: ...

    def many(self, sql: str, rows: Iterable[Sequence[Any]]) -> None: ...

    def rows(self, sql: str, values: Sequence[Any] = ()) -> list[Row]: ...


class Database(Protocol):
    """One kind of database. Every method raises StoreProblem in the person's words."""

    @property
    def place(self) -> str: ...

    @property
    def guards(self) -> Sequence[str]:
        """Statements that let the database itself refuse to change or delete an event."""
        ...

    def has_table(self, read: Statements, name: str) -> bool: ...

    def writing(self) -> AbstractContextManager[Statements]: ...

    def reading(self) -> AbstractContextManager[Statements]: ...

    def copy_to(self, target: Path) -> None: ...

    def close(self) -> None: ...


class _Sqlite:
    def __init__(self, connection: sqlite3.Connection) -> None:
        self._connection = connection

    def execute(self, sql: str, values: Sequence[Any] = ()) -> Any:
        return self._connection.execute(sql, values)

    def many(self, sql: str, rows: Iterable[Sequence[Any]]) -> None:
        self._connection.executemany(sql, rows)

    def rows(self, sql: str, values: Sequence[Any] = ()) -> list[Row]:
        return self._connection.execute(sql, values).fetchall()


class SqliteDatabase:
    """A file in write-ahead mode with full sync: what was committed survives a power cut.

    Safe to use from several threads and several processes at once.
    """

    guards: Sequence[str] = (
        """CREATE TRIGGER event_is_not_changed BEFORE UPDATE ON event
           BEGIN SELECT RAISE(ABORT, 'the record is only added to'); END""",
        """CREATE TRIGGER event_is_not_deleted BEFORE DELETE ON event
           BEGIN SELECT RAISE(ABORT, 'the record is only added to'); END""",
    )

    def __init__(self, path: Path) -> None:
        self.place = str(path)
        self._lock = threading.RLock()
        if path.is_dir():
            raise StoreProblem(
                f"{path} is a folder. Name a file in it, such as {path / 'shop.db'}."
            )
        _make_folder(path.parent)
        with self._in_words():
            self._connection = sqlite3.connect(
                path, timeout=BUSY_SECONDS, isolation_level=None, check_same_thread=False
            )
            try:
                self._prepare()
            except BaseException:
                self._connection.close()
                raise

    def _prepare(self) -> None:
        # Before anything is changed: somebody else's database stays as it is.
        tables = {row[0] for row in self._connection.execute("SELECT name FROM sqlite_master")}
        if tables and "store_fact" not in tables:
            raise StoreProblem(
                f"{self.place} is a database, but not a record of this program. Nothing in it "
                f"was touched. Name the right file with --store."
            )
        self._connection.execute("PRAGMA foreign_keys = ON")
        self._connection.execute("PRAGMA synchronous = FULL")
        # Two programs that make the same new file meet here, where SQLite does not wait by itself.
        until = time.monotonic() + BUSY_SECONDS
        while True:
            try:
                mode = self._connection.execute("PRAGMA journal_mode = WAL").fetchone()[0]
                break
            except sqlite3.OperationalError as error:
                if _code(error) != sqlite3.SQLITE_BUSY or time.monotonic() > until:
                    raise
                time.sleep(0.02)
        if mode != "wal":
            raise StoreProblem(
                f"The record at {self.place} cannot be kept safely there: the disk does not "
                f"support write-ahead logging (it offers {mode!r}). Choose a folder on a local "
                f"disk with --store."
            )

    @contextmanager
    def writing(self) -> Iterator[Statements]:
        """All of it or nothing, alone among writers. Raises StoreProblem."""
        with self._lock, self._in_words(), self._transaction("BEGIN IMMEDIATE"):
            yield _Sqlite(self._connection)

    @contextmanager
    def reading(self) -> Iterator[Statements]:
        """One moment's view of everything. Raises StoreProblem."""
        with self._lock, self._in_words(), self._transaction("BEGIN"):
            yield _Sqlite(self._connection)

    def has_table(self, read: Statements, name: str) -> bool:
        return bool(read.rows("SELECT 1 FROM sqlite_master WHERE name = ?", (name,)))

    def copy_to(self, target: Path) -> None:
        """A whole copy of this moment in a new file, while others go on writing."""
        with self._lock, self._in_words():
            copy = sqlite3.connect(target)
            try:
                self._connection.backup(copy)
            finally:
                copy.close()

    def close(self) -> None:
        with self._lock:
            self._connection.close()

    @contextmanager
    def _transaction(self, begin: str) -> Iterator[None]:
        self._connection.execute(begin)
        try:
            yield
            self._connection.execute("COMMIT")
        except BaseException:
            if self._connection.in_transaction:
                self._connection.execute("ROLLBACK")
            raise

    @contextmanager
    def _in_words(self) -> Iterator[None]:
        try:
            yield
        except sqlite3.Error as error:
            raise StoreProblem(_words(error, self.place)) from error


def _code(error: sqlite3.Error) -> int:
    """The primary result code (https://www.sqlite.org/rescode.html)."""
    return getattr(error, "sqlite_errorcode", sqlite3.SQLITE_ERROR) & 0xFF


def _words(error: sqlite3.Error, place: str) -> str:
    match _code(error):
        case sqlite3.SQLITE_BUSY | sqlite3.SQLITE_LOCKED:
            return (
                f"Another program has held the record at {place} for more than "
                f"{BUSY_SECONDS:.0f} seconds. Nothing was lost, and this entry was not stored. "
                f"Close the other program (a backup or a database viewer, perhaps), then try again."
            )
        case sqlite3.SQLITE_FULL:
            return _no_room(place)
        case sqlite3.SQLITE_IOERR:
            return (
                f"The disk would not take or give data for the record at {place} ({error}). "
                f"Everything stored before is kept; this entry was not stored. Check that the "
                f"disk has room and is well, then try again."
            )
        case sqlite3.SQLITE_READONLY | sqlite3.SQLITE_PERM:
            return (
                f"The record at {place} may not be written ({error}). Nothing was lost. Give "
                f"yourself the right to write that file and its folder, or choose another place "
                f"with --store."
            )
        case sqlite3.SQLITE_CANTOPEN:
            return (
                f"The record at {place} cannot be opened or made. Check that its folder is there "
                f"and may be written, or choose another place with --store."
            )
        case sqlite3.SQLITE_NOTADB:
            return (
                f"{place} is not a record of this program: it is no database. Nothing in it was "
                f"touched. Name the right file with --store."
            )
        case sqlite3.SQLITE_CORRUPT:
            return (
                f"The record at {place} is damaged ({error}). Stop using it, keep the file and "
                f"those beside it (-wal, -shm) as they are, and go on from the latest backup."
            )
        case _:
            return f"The record at {place} could not be used: {error}."


def _no_room(place: str) -> str:
    return (
        f"The disk that holds the record at {place} is full. Everything stored before is kept; "
        f"this entry was not stored. Make room, then enter it again."
    )


def _make_folder(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise StoreProblem(
            f"The folder {folder} for the record cannot be made: {error.strerror}. Make it, or "
            f"choose another place with --store."
        ) from error
