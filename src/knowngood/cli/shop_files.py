"""The work behind ``knowngood paper keep`` and ``knowngood paper kept``; exit codes."""

from __future__ import annotations

from pathlib import Path

from knowngood.cli.paperwork import moment, said, text_of_file
from knowngood.cli.to_read import to_read
from knowngood.job.shop_files import FileKind
from knowngood.places import programmes
from knowngood.places.record import At, Record, Refused
from knowngood.shop.notice_file import is_notices
from knowngood.store.where import store_path


def keep(file: Path, notices: bool, store: Path | None, by: str) -> int:
    """Go by this file from now on."""

    def work() -> None:
        text = text_of_file(file)
        with Record.open(store_path(store)) as record:
            at = At(moment(), by or "somebody")
            if notices or is_notices(text, file.name):
                count = len(programmes.keep_notices(record, text, file.name, at))
                print(f"kept: {count} notice{'' if count == 1 else 's'}, looked for at check-in")
                return
            programme = programmes.keep_programme(record, text, file.name, at)
            print(f"kept: {programme.words}, asked at check-in of machines by {programme.maker}")

    return said(work)


def kept(drop: str, reason: str, store: Path | None, by: str) -> int:
    """What the shop goes by; `drop`: one that it goes by no longer."""

    def work() -> None:
        with to_read(store) as record:
            there = programmes.files_of(record).kept
            if drop:
                kinds: list[FileKind] = [k for k, n in there if n == drop]  # type: ignore[misc]
                if not kinds:
                    known = ", ".join(n for _, n in there) or "none"
                    raise Refused(f"there is no {drop!r}; there are: {known}")
                at = At(moment(), by or "somebody")
                programmes.drop_file(record, kinds[0], drop, at, reason)
                print(f"the shop no longer goes by {drop}")
                return
            for file in there.values():
                maker = f" ({file.maker})" if file.maker else ""
                print(f"{file.kind} {file.name}: {file.words}{maker}")
            if not there:
                print("No programme is kept yet: knowngood paper keep FILE")

    return said(work)
