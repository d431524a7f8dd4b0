"""A program that stores sendings of three and says so after each; the test kills it.

    python appender.py STORE DEVICE

A line "DEVICE FIRST_NUMBER LAST_SEQ DIGEST" goes out only after `append` returned.
"""

from __future__ import annotations

import sys
from pathlib import Path

from knowngood.job.events import MachineAdopted
from knowngood.store.files import Files
from knowngood.store.log import Log
from knowngood.store.where import files_folder
from tests.store.entries import NOW, entry


def main(store: Path, device: str) -> None:
    log = Log.open(store)
    files = Files(files_folder(store))
    for first in range(1, 10_000, 3):
        digest = files.keep_text(f"{device} {first}\n" * 200)
        stored = log.append(
            "j1",
            [
                entry(MachineAdopted(digest), device, first),
                entry("x" * 3000, device, first + 1),
                entry("the last of three", device, first + 2),
            ],
            NOW,
        )
        print(device, first, stored[-1].seq, digest, flush=True)


if __name__ == "__main__":
    main(Path(sys.argv[1]), sys.argv[2])
