"""The customer fetches the machine: at the bench and by a command of its own, with the receipt."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from knowngood.cli import main
from knowngood.job.counter import AccessoriesNoted, PackTaken
from knowngood.job.job import replay
from knowngood.places.record import Record
from tests.cli.test_bench import Bench
from tests.cli.test_bench_end import DECIDED, SHUT
from tests.cli.test_paper import pdf_text


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    opened = Bench(tmp_path)
    opened.enter(DECIDED)
    along = [AccessoriesNoted(("charger", "bag")), PackTaken("p1", "BP-1187")]
    opened.record.append(opened.session.job_id, along, opened.session.at())
    yield opened
    opened.record.log.close()


def test_the_bench_says_how_it_is_fetched_and_notes_who_took_it(bench: Bench) -> None:
    assert "is not closed yet" in bench.enter("pickup Anna Berger")
    said = bench.enter(f"fitted\n{SHUT}\nrelease\npass\npass\ndone repaired")
    assert "It is fetched: pickup NAME" in said and "--out receipt.pdf" in said
    assert "pickup NAME hands it back" in bench.enter("handed back")
    said = bench.enter("pickup")
    assert "goes along: charger; bag; pack, serial BP-1187" in said and "NAME: who took it" in said
    assert bench.job.counter.handed is None
    assert "to Anna Berger" in bench.enter("pickup Anna Berger")
    handed = bench.job.counter.handed
    assert handed is not None and (handed.to, handed.stays) == ("Anna Berger", ())
    assert (handed.accessories, handed.packs) == (("charger", "bag"), ("p1",))
    assert "handed back already" in bench.enter("pickup Anna Berger")


def test_a_command_hands_it_back_and_writes_the_receipt(
    bench: Bench, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    bench.enter(f"fitted\n{SHUT}\nrelease\npass\npass")
    store, number = str(tmp_path / "shop.db"), bench.job.name

    def typed(*words: str) -> tuple[int, str, str]:
        code = main(["job", "pickup", number, *words, "--store", store])
        told = capsys.readouterr()
        return code, told.out, told.err

    assert typed("--to", "Anna")[0] == 2  # not closed
    bench.enter("done repaired")
    capsys.readouterr()
    code, out, _ = typed()
    assert code == 0 and "Goes along: charger; bag" in out and "--to NAME" in out
    code, _, err = typed("--to", "Anna", "--stays", "cover")
    assert code == 2 and "There is: charger; bag; pack" in err
    receipt = tmp_path / "receipt.pdf"
    assert typed("--out", str(receipt))[0] == 2 and not receipt.exists()
    code, out, _ = typed("--to", "Anna Berger", "--stays", "pack", "--out", str(receipt))
    assert code == 0 and "Stays here: pack, serial BP-1187" in out
    printed = pdf_text(receipt)
    assert "Anna Berger" in printed and "charger" in printed
    with Record.open(tmp_path / "shop.db", make=False) as record:
        handed = replay(record.log.events(record.log.find(number))).counter.handed
    assert handed is not None and handed.packs == ()


def test_a_held_machine_goes_with_a_name_and_a_reason(
    bench: Bench, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    bench.enter(f"fitted\n{SHUT}\ndone anyway sold for parts")
    command = ["job", "pickup", bench.job.name, "--store", str(tmp_path / "shop.db")]
    capsys.readouterr()
    assert main(command) == 0 and "Holds it: " in capsys.readouterr().out
    assert main([*command, "--to", "Anna"]) == 2
    assert "--anyway REASON --by NAME" in capsys.readouterr().err
    assert main([*command, "--to", "Anna", "--anyway", "sold for parts", "--by", "Ida"]) == 0
    assert "Handed back" in capsys.readouterr().out
