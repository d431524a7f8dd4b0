"""Weights of faults and minutes from closed jobs, their text, and the machine with them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from knowngood.isolate.likelihood import Mixture
from knowngood.learn.applied import good_forecast, with_lessons
from knowngood.learn.lessons import from_text, learn, to_text
from knowngood.learn.minutes import drawn, measured
from knowngood.learn.weights import WORTH, count_faults, learned_weights
from knowngood.machines.machine import Machine
from tests.learn.conftest import closed, volts


def test_weights_are_the_dirichlet_mean(small: Machine) -> None:
    jobs = [closed(i, {}, bad="pack") for i in range(1, 7)]
    jobs += [closed(i, {}, bad="motor") for i in range(7, 9)]
    jobs.append(closed(9, {}, bad="pack", why_not="decided without proof"))
    counted = count_faults(small, jobs)
    assert (counted.jobs, counted.by_part) == (8, {"motor": 2, "pack": 6})
    assert counted.share == pytest.approx(8 / (8 + WORTH))
    weights = learned_weights(small, counted)
    # File: pack 25 of 87, motor 5 of 87; (20 x 25/87 + 6) / 28 and (20 x 5/87 + 2) / 28.
    total = sum(f.weight for f in small.faults)
    assert total == 87
    assert weights["pack_dead"] / 87 == pytest.approx((20 * 25 / 87 + 6) / 28)
    assert weights["motor_open"] / 87 == pytest.approx((20 * 5 / 87 + 2) / 28)
    assert sum(weights.values()) == pytest.approx(87)


def test_a_job_is_shared_among_the_faults_of_its_part(small: Machine) -> None:
    # Complaint "dead": a broken harness makes it at .9, a loose one at .1; both weigh 8.
    counted = count_faults(small, [closed(1, {}, bad="harness")])
    assert counted.by_fault["harness_open"] == pytest.approx(0.9)
    assert counted.by_fault["harness_loose"] == pytest.approx(0.1)
    shown = count_faults(small, [closed(1, {}, bad="harness", out=("harness broken at the fold",))])
    assert shown.by_fault == {"harness_loose": 1.0}


def test_the_shops_shares_win_in_the_end(small: Machine) -> None:
    """A shop whose true shares differ from the file's: the error falls with the jobs (seeded)."""
    rng = np.random.default_rng(2)
    parts = ["pack", "start_box", "motor", "controller"]
    truth = np.array([0.1, 0.2, 0.5, 0.2])
    errors = []
    for count in (0, 30, 300):
        jobs = [closed(i, {}, bad=str(rng.choice(parts, p=truth))) for i in range(count)]
        weights = learned_weights(small, count_faults(small, jobs))
        errors.append(abs(weights["motor_open"] / 87 - 0.5))
    assert errors[0] > 0.4 and errors[1] < 0.6 * errors[0] and errors[2] < 0.06


def test_minutes_are_the_median_drawn_to_the_files(small: Machine) -> None:
    jobs = [closed(i, {}, minutes=(("test box_ohms", m), ("handle", 6.0), ("tea", 9.0)))
            for i, m in enumerate([1.0, 1.2, 1.1, 45.0, 0.9], start=1)]  # fmt: skip
    known = measured(small, jobs)
    assert known == (("handle", 5, 6.0), ("test box_ohms", 5, 1.1))
    by = {t.what: t for t in drawn(small, known)}
    assert by["test box_ohms"].minutes == pytest.approx((4 * 3 + 5 * 1.1) / 9, abs=0.005)
    assert by["handle"].minutes == pytest.approx((4 * 4 + 5 * 6) / 9, abs=0.005)


def lessons_text(machine: Machine) -> str:
    jobs = [
        closed(i, {"pack_rest": volts(57.0 + i / 20, 0.02, 0.1), "enable": volts(0.6 + i / 500,
               quantity="diode")}, minutes=(("test enable", 2.0),))
        for i in range(1, 6)
    ]  # fmt: skip
    return to_text(learn(machine, jobs))


def test_the_text_is_the_same_for_the_same_jobs_and_reads_back(small: Machine) -> None:
    text = lessons_text(small)
    assert text == lessons_text(small)
    again = from_text(text)
    assert to_text(again) == text
    assert again.words == "10 known-good readings and 5 closed jobs of this shop"
    assert with_lessons(small, again) == with_lessons(small, from_text(text))


@pytest.mark.parametrize(
    "text",
    ["", "[]", "{}", '{"lessons": 1}', '{"lessons": 2}', '{"lessons": 1, "readings": 3}',
     '{"lessons":1,"machine":"m","readings":[{"test":1}],"jobs":0,"by_part":{},"by_fault":{},'
     '"minutes":[]}'],
)  # fmt: skip
def test_another_text_is_refused_in_words(text: str) -> None:
    with pytest.raises(ValueError, match=r"hold together|no .lessons|Expecting value"):
        from_text(text)


def test_the_machine_with_its_lessons(small: Machine) -> None:
    lessons = from_text(lessons_text(small))
    taught = with_lessons(small, lessons, "brackwater bt-5")
    was = {t.id: t for t in small.tests}
    now = {t.id: t for t in taught.tests}
    assert now["enable"].limits is not None and was["enable"].limits is not None
    assert now["enable"].limits.source == "from 5 known-good readings of this model"
    assert now["enable"].good_reads.endswith("(5 known-good readings of this model)")
    assert now["enable"].minutes == pytest.approx((4 * 3 + 5 * 2) / 9, abs=0.005)
    assert now["motor_ohms"] == was["motor_ohms"]
    # The learned forecast is narrower, about the shop's own middle.
    low, high = (Mixture([now["enable"].good]).cdf(np.array([x]), np.zeros(1), np.ones(1))[0, 0]
                 for x in (0.55, 0.66))  # fmt: skip
    assert high - low > 0.9
    assert with_lessons(small, replace(lessons, machine="another")) == small


def test_what_is_no_figure_keeps_its_share(small: Machine) -> None:
    from knowngood.isolate.forecast import Forecast, Piece

    was = Forecast((Piece("between", 1, 2, 0.95), Piece("over", share=0.05)))
    found = good_forecast(was, (Piece("around", 1.5, 0.1, 0.4), Piece("around", 1.5, 0.2, 0.6)))
    assert [p.share for p in found.pieces] == pytest.approx([0.38, 0.57, 0.05])
