"""A copy of everything in a new folder, made while the shop goes on working, and the way back."""

from __future__ import annotations

import os
import shutil
from dataclasses import dataclass
from pathlib import Path

from knowngood.store.files import Files
from knowngood.store.log import Log
from knowngood.store.problem import StoreProblem, not_read
from knowngood.store.where import files_folder


@dataclass(frozen=True, slots=True)
class Backup:
    """What was copied, and the files that are damaged or could not be read."""

    store: Path
    events: int
    files: int
    damaged: tuple[str, ...]


def back_up(store: Path, folder: Path) -> Backup:
    """Copy a record with its pictures and files; the copy is opened and read to prove it.

    Raises StoreProblem when the folder holds a record already or cannot be written.
    """
    target = folder / store.name
    if target.exists():
        raise StoreProblem(f"{folder} holds a copy already. Name another folder.")
    part = folder / f".{store.name}.part"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        part.unlink(missing_ok=True)
        with Log.open(store, make=False) as log:
            log.copy_to(part)
        # After the record: a file is there before the event that names it.
        count, damaged = _copy_files(Files(files_folder(store)), files_folder(target))
        with Log.open(part, make=False) as copy:
            events = len(copy.all_events())
        os.replace(part, target)
    except OSError as error:
        raise StoreProblem(
            f"The copy in {folder} could not be made: {error.strerror or error}. The record "
            f"itself is as it was."
        ) from error
    return Backup(target, events, count, tuple(damaged))


def restore(folder: Path, store: Path) -> Backup:
    """Put a copy that `back_up` made where the record is looked for; it is read to prove it.

    The record comes last, so that a restore that was cut off can be done again. Raises StoreProblem
    when there is a record already, the folder holds none, or the place cannot be written.
    """
    source = _record_in(folder)
    if store.exists():
        raise StoreProblem(
            f"There is a record at {store} already, and it stays. Name another place with --store, "
            f"or move that one away first."
        )
    part = store.with_name(f".{store.name}.part")
    try:
        store.parent.mkdir(parents=True, exist_ok=True)
        count, damaged = _copy_files(Files(files_folder(source)), files_folder(store))
        shutil.copyfile(source, part)
        with part.open("rb") as copied:
            os.fsync(copied.fileno())
        with Log.open(part, make=False) as log:
            events = len(log.all_events())
        for aside in ("-wal", "-shm"):
            part.with_name(part.name + aside).unlink(missing_ok=True)
        os.replace(part, store)
    except OSError as error:
        raise StoreProblem(
            f"{folder} could not be restored to {store}: {error.strerror or error}. The copy "
            f"itself is as it was."
        ) from error
    return Backup(store, events, count, tuple(damaged))


def _record_in(folder: Path) -> Path:
    """The one record in a folder of `back_up`. Raises StoreProblem."""
    try:
        found = [path for path in sorted(folder.iterdir()) if _is_record(path)]
    except OSError as error:
        raise StoreProblem(not_read(folder, error)) from error
    if len(found) != 1:
        many = f"{len(found)} records" if found else "no record"
        raise StoreProblem(f"{folder} holds {many}. Name a folder that `job backup` wrote.")
    return found[0]


def _is_record(path: Path) -> bool:
    if path.name.startswith(".") or not path.is_file():
        return False
    with path.open("rb") as file:
        return file.read(16) == b"SQLite format 3\0"


def _copy_files(files: Files, folder: Path) -> tuple[int, list[str]]:
    count = 0
    damaged: list[str] = []
    for path in sorted(files.folder.glob("[0-9a-f][0-9a-f]/*")):
        if path.name.startswith(".") or ".preview-" in path.name:
            continue
        try:
            files.data_of(path.stem)
        except (StoreProblem, ValueError):
            damaged.append(path.name)
            continue
        place = folder / path.parent.name
        place.mkdir(parents=True, exist_ok=True)
        shutil.copy2(path, place / path.name)
        count += 1
    return count, damaged
