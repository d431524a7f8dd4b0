"""A whole copy as one file, to be downloaded while the shop goes on working, and the way back.

The file is a zip that unpacks to the folder that `backup.back_up` makes: the record, and beside it
the pictures and files by their digests. Keys for HTTPS are not in it.
"""

from __future__ import annotations

import io
import re
import shutil
import tempfile
import zipfile
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path, PurePosixPath

from knowngood.store.backup import Backup, restore
from knowngood.store.files import Files
from knowngood.store.log import Log
from knowngood.store.problem import StoreProblem
from knowngood.store.where import files_folder

PIECE = 1 << 18
README = "READ ME.txt"
DAMAGED = "DAMAGED.txt"

_MEMBER = re.compile(r"[\w. -]+|[\w. -]+\.files/[0-9a-f]{2}/[0-9a-f]{64}[\w.-]*")


class _Pipe(io.RawIOBase):
    """What a zip file is written to; what was written is taken away piece by piece."""

    def __init__(self) -> None:
        self.pieces: list[bytes] = []

    def writable(self) -> bool:
        return True

    def write(self, data: object) -> int:
        piece = bytes(data)  # type: ignore[call-overload]
        self.pieces.append(piece)
        return len(piece)

    def taken(self) -> bytes:
        data, self.pieces = b"".join(self.pieces), []
        return data


def stream(store: Path, now: datetime) -> Iterator[bytes]:
    """The copy piece by piece. The record in it is of one moment; it is opened to prove it.

    Raises StoreProblem before the first piece, when there is no record or no room for its copy.
    """
    try:
        folder = tempfile.TemporaryDirectory(prefix="knowngood-copy-")
    except OSError as error:
        raise StoreProblem(
            f"There is no room for the copy: {error.strerror or error}. Make room, then try again."
        ) from error
    with folder as name:
        copy = Path(name) / store.name
        with Log.open(store, make=False) as log:
            log.copy_to(copy)
        with Log.open(copy, make=False) as proof:
            jobs = len(proof.jobs())
        # After the record: a file is there before the event that names it.
        yield from _zipped(store, copy, jobs, now)


def _zipped(store: Path, copy: Path, jobs: int, now: datetime) -> Iterator[bytes]:
    pipe = _Pipe()
    at = now.timetuple()[:6]
    files = Files(files_folder(store))
    damaged: list[str] = []
    with zipfile.ZipFile(pipe, "w") as bundle:
        info = zipfile.ZipInfo(store.name, at)
        info.compress_type = zipfile.ZIP_DEFLATED
        with copy.open("rb") as source, bundle.open(info, "w", force_zip64=True) as member:
            while piece := source.read(PIECE):
                member.write(piece)
                yield pipe.taken()
        for path in sorted(files.folder.glob("[0-9a-f][0-9a-f]/*")):
            if path.name.startswith(".") or ".preview-" in path.name:
                continue
            try:
                data = files.data_of(path.stem)
            except (StoreProblem, ValueError):
                damaged.append(path.name)
                continue
            member_name = f"{files.folder.name}/{path.parent.name}/{path.name}"
            bundle.writestr(zipfile.ZipInfo(member_name, at), data)
            yield pipe.taken()
        bundle.writestr(zipfile.ZipInfo(README, at), _read_me(store, jobs, now))
        if damaged:
            text = "These were found damaged and are not in the copy:\n" + "\n".join(damaged) + "\n"
            bundle.writestr(zipfile.ZipInfo(DAMAGED, at), text)
    yield pipe.taken()


def _read_me(store: Path, jobs: int, now: datetime) -> str:
    return (
        f"A whole copy of {store.name} with its pictures: {jobs} jobs, made {now:%Y-%m-%d %H:%M}.\n"
        f"To restore it on a computer that has no record yet: knowngood job restore THIS-FILE\n"
    )


def restore_file(file: Path, store: Path) -> Backup:
    """Put such a file back where the record is looked for, as `backup.restore` does a folder.

    Raises StoreProblem when there is a record already, or the file is no whole copy.
    """
    if store.exists():
        raise StoreProblem(
            f"There is a record at {store} already, and it stays. Name another place with --store, "
            f"or move that one away first."
        )
    try:
        store.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(prefix=".restoring-", dir=store.parent) as name:
            return restore(unpack(file, Path(name) / "copy"), store)
    except OSError as error:
        raise StoreProblem(
            f"{file} could not be restored to {store}: {error.strerror or error}. The copy itself "
            f"is as it was."
        ) from error


def unpack(file: Path, folder: Path) -> Path:
    """Unpack such a file into a new folder, which `backup.restore` takes; the folder.

    Nothing is written outside of it. Raises StoreProblem when the file is something else, was cut
    off, or the folder cannot be written.
    """
    try:
        with zipfile.ZipFile(file) as bundle:
            names = bundle.namelist()
            for name in names:
                if ".." in PurePosixPath(name).parts or not _MEMBER.fullmatch(name):
                    raise StoreProblem(f"{file} is no copy of a record: it holds {name!r}.")
            folder.mkdir(parents=True, exist_ok=False)
            for name in names:
                target = folder / name
                target.parent.mkdir(parents=True, exist_ok=True)
                with bundle.open(name) as source, target.open("wb") as out:
                    shutil.copyfileobj(source, out, PIECE)  # checks each member's CRC
    except zipfile.BadZipFile as error:
        raise StoreProblem(
            f"{file} is no whole copy ({error}): it was cut off, or is something else. Nothing "
            f"was restored. Save the copy again, or take an older one."
        ) from error
    except OSError as error:
        raise StoreProblem(f"{file} cannot be unpacked: {error.strerror or error}.") from error
    return folder
