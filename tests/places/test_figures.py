"""Figures from the record: minutes sold, wrong parts, comebacks."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from pathlib import Path

import pytest

from knowngood.cli import main
from knowngood.job.counter import ComebackLinked
from knowngood.places import account, decision
from knowngood.places.bench import CheckIn, open_job
from knowngood.places.figures import shop_figures
from knowngood.places.gather import View
from knowngood.places.library import Known, find_machine
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
    decision.decide(record, job, at(10), "controller")  # on a hunch, 160
    decision.decide(record, job, at(11))
    labour = Line("labour", "find and mend", Money(Decimal("45.00"), "USD"))
    account.make_estimate(record, job, [labour], Taxes(), "USD", at(12))
    decision.close_job(record, job, "returned unrepaired", at(30))
    machine: Known = find_machine(str(SMALL))  # type: ignore[type-arg]
    again = open_job(record, CheckIn(machine, "dead"), at(40)).job.id
    record.append(again, [ComebackLinked(job)], at(41))
    decision.close_job(record, again, "no fault found", at(50, day=3))
    found = {f.name: f.value for f in shop_figures(record, date(2026, 3, 1), date(2026, 3, 31))}
    assert found["handed back"] == 2
    assert found["turnaround, median"] == 1.0
    assert (found["comebacks"], found["no fault found"]) == (0.5, 0.5)
    assert found["first-time fix"] is None
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
