"""Figures from the record: minutes sold, wrong parts, comebacks."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from pathlib import Path

import pytest

from knowngood.cli import main
from knowngood.job.counter import ComebackLinked
from knowngood.job.events import JobClosed
from knowngood.job.paperwork import ClaimAnswered, ClaimPaid, ClaimSent
from knowngood.job.shelf import PartOrdered
from knowngood.job.shop_sheet import ShopNoted
from knowngood.places import account, decision
from knowngood.places.bench import CheckIn, open_job
from knowngood.places.figures import shop_figures, shop_tables
from knowngood.places.gather import View
from knowngood.places.library import Known, find_machine
from knowngood.places.plots import plots_of
from knowngood.places.premises import note_shop
from knowngood.places.record import Record
from knowngood.shop.estimate import Line
from knowngood.shop.money import Money, Taxes
from tests.places.conftest import SMALL, at
from tests.places.test_decision import proven


def test_one_job_and_its_comeback(
    record: Record, dead: View, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    job = dead.job.id
    proven(record, dead)
    note_shop(record, ShopNoted(bench_rate=90, currency="USD"), at(9))
    decision.decide(record, job, at(10), "motor")  # on a hunch, never ordered
    decision.decide(record, job, at(10.5), "controller")  # on a hunch, and ordered: 160
    record.append(job, [PartOrdered("controller", "Controller")], at(10.7))
    decision.decide(record, job, at(11))
    labour = Line("labour", "find and mend", Money(Decimal("45.00"), "USD"))
    account.make_estimate(record, job, [labour], Taxes(), "USD", at(12))
    record.append(job, [JobClosed("repaired")], at(30))
    sold = next(f for f in shop_figures(record, date(2026, 3, 1), date(2026, 3, 31))
                if f.name == "minutes sold")  # fmt: skip
    assert (sold.value, sold.how.rpartition("; ")[2]) == (
        0.0, "none from 1 job that nobody agreed to or paid"
    )  # fmt: skip
    account.agree(record, job, "Mr. Vale", "by phone", "60", at(31))
    machine: Known = find_machine(str(SMALL))  # type: ignore[type-arg]
    again = open_job(record, CheckIn(machine, "dead"), at(40)).job.id
    record.append(again, [ComebackLinked(job)], at(41))
    decision.close_job(record, again, "no fault found", at(50, day=3))
    found = {f.name: f.value for f in shop_figures(record, date(2026, 3, 1), date(2026, 3, 31))}
    assert (found["closed"], found["handed back"]) == (2, 0)  # nobody has fetched one
    assert found["turnaround, median"] == 1.0
    assert (found["comebacks"], found["no fault found"]) == (0.5, 0.5)
    assert found["first-time fix"] == 0  # it came back
    assert found["wrong parts"] == 160
    assert found["minutes sold"] == pytest.approx(45 / 90 * 60)
    command = ["job", "figures", "--store", str(tmp_path / "shop.db"), "--since", "2026-03-01",
               "--until", "2026-03-31"]  # fmt: skip
    assert main(command) == 0
    assert "comebacks: 50 % of 2 (jobs that were linked to an older one)" in (
        capsys.readouterr().out
    )
    assert main([*command, "--csv"]) == 0
    assert capsys.readouterr().out.splitlines()[0] == "figure,value,unit,of jobs,how"
    assert main([*command[:-1], "soon"]) == 2
    assert "write the day like 2026-05-04" in capsys.readouterr().err
    assert main([*command, "--months"]) == 0
    assert "Mar 2026\n  closed: 2 jobs of 2\n" in capsys.readouterr().out
    assert main([*command, "--csv", "--months"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[1] == "2026-03-01,2026-03-31,closed,2.0,jobs,2"
    assert main([*command, "--svg", str(tmp_path / "plots")]) == 0
    drawn = sorted(path.name for path in (tmp_path / "plots").iterdir())
    assert drawn == ["mended.svg", "minutes.svg", "turnaround.svg"]  # no claim is owed
    svg = (tmp_path / "plots" / "mended.svg").read_text(encoding="utf-8")
    assert "comebacks: Mar 2026 50" in svg and "first-time fix: Mar 2026 0" in svg
    (tmp_path / "file").touch()
    assert main([*command, "--svg", str(tmp_path / "file")]) == 2
    assert "cannot be written" in capsys.readouterr().err
    assert main([*command[:-2], "--until", "2026-02-01"]) == 2
    assert "turn the two around" in capsys.readouterr().err


def test_without_a_rate_of_the_shop_no_minutes_are_called_sold(
    record: Record, dead: View
) -> None:
    """The usual 90 an hour is no rate of this shop: 45.00 of labour are no minutes by it."""
    job = dead.job.id
    labour = Line("labour", "find and mend", Money(Decimal("45.00"), "USD"))
    account.make_estimate(record, job, [labour], Taxes(), "USD", at(12))
    account.agree(record, job, "Mr. Vale", "by phone", "60", at(13))
    proven(record, dead)
    decision.decide(record, job, at(20), "controller")  # 160 in the machine's file
    record.append(job, [PartOrdered("controller", "Controller")], at(20.5))
    decision.decide(record, job, at(21))
    record.append(job, [JobClosed("repaired")], at(30))
    march = (date(2026, 3, 1), date(2026, 3, 31))
    found = {f.name: f for f in shop_figures(record, *march)}
    for name in ("minutes sold", "sold of worked"):
        assert (found[name].value, found[name].of) == (None, 0)
        assert found[name].how.endswith(
            "; 1 left out: the shop's rate is not set (knowngood shop), or in another currency"
        )
    assert found["wrong parts"].how.endswith("; 1 at a machine file's example price")
    note_shop(record, ShopNoted(bench_rate=60, currency="USD"), at(31))
    found = {f.name: f for f in shop_figures(record, *march)}
    assert found["minutes sold"].value == pytest.approx(45 / 60 * 60)
    assert "left out" not in found["minutes sold"].how


def test_claims_owed_by_age(record: Record, dead: View) -> None:
    """A claim of 100 sent, 60 granted, 20 come in: 40 owed, older by the day it is looked at."""
    job = dead.job.id
    record.append(
        job,
        [ClaimSent("a", "2026-03-02", "100.00", "USD"),
         ClaimAnswered("b", "2026-03-20", "short-paid", "60.00", "USD", "cap"),
         ClaimPaid("c", "2026-03-21", "20.00", "USD")],
        at(9),
    )  # fmt: skip

    def owed(last: date) -> list[tuple[float | None, int]]:
        return [(f.value, f.of) for f in shop_tables(record, date(2026, 1, 1), last).owed]

    none = (0.0, 0)
    assert owed(date(2026, 3, 1)) == []  # not sent yet
    assert owed(date(2026, 4, 1)) == [(40.0, 1), none, none, none]  # 30 days
    assert owed(date(2026, 4, 2)) == [none, (40.0, 1), none, none]
    assert owed(date(2026, 12, 31)) == [none, none, none, (40.0, 1)]
    tables = shop_tables(record, date(2026, 1, 1), date(2026, 4, 1))
    assert [plot.name for plot in plots_of(tables)] == ["owed-USD"]
    assert "up to 30 days 40, up to 60 days 0" in plots_of(tables)[0].svg
