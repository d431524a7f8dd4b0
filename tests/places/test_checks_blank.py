"""A claim that goes out with release checks blank says so, and is not held for it."""

from __future__ import annotations

from knowngood.places import decision, paperwork
from knowngood.places.checks_blank import checks_blank
from knowngood.places.gather import View, load_job, machine_file_of
from knowngood.places.record import Record
from tests.places.conftest import at
from tests.places.test_decision import proven
from tests.places.test_paperwork import covered


def test_blank_checks_are_counted_until_each_is_made(record: Record, dead: View) -> None:
    job = covered(record, dead)
    assert checks_blank(record, load_job(record, job)) == ""  # no part is decided on yet
    proven(record, dead)
    decision.decide(record, job, at(12))
    checks = machine_file_of(record, load_job(record, job)).release
    said = checks_blank(record, load_job(record, job))
    assert said.startswith(f"{len(checks)} of {len(checks)} release checks (page one says")
    assert paperwork.send_claim(record, job, at(13)).course.words.startswith("sent today")
    decision.check_release(record, job, checks[0].id, "fail", at(14), "slow")
    left = len(checks) - 1
    assert checks_blank(record, load_job(record, job)).startswith(f"{left} of {len(checks)} ")
    decision.close_job(record, job, "returned unrepaired", at(15))
    assert checks_blank(record, load_job(record, job)) == ""
