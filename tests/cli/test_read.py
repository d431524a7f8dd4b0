"""`knowngood read` and `why`: the doubt of a reading as a table, with leads and AC bandwidth."""

from __future__ import annotations

import json
import math
import re
from pathlib import Path

import pytest

from knowngood.cli import main
from tests.cli.test_bench import INTRO, Bench


def said(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    assert main(["read", *words]) == 0
    return capsys.readouterr().out


def test_volts_by_the_sheet_row_by_row(capsys: pytest.CaptureFixture[str]) -> None:
    """By hand from the sheet (60 V range, 0.01 V): 0.5 % of 12.40 V + 3 counts = 92 mV, over
    sqrt(3) (JCGM 100:2008, 4.3.7) 53.1 mV, with the display's 5 mV / sqrt(3) together 53.2 mV."""
    text = said(capsys, "12.40 V", "--meter", "generic-6000")
    assert text.startswith("volts: 12.4 V ± 0.11 V\n12.4 V on the 60 V range\n")
    assert re.search(r"^source +half-width +shape +divisor +u +share +why$", text, re.M)
    u = math.hypot(0.092 / math.sqrt(3), 0.005 / math.sqrt(3))
    assert f"together{'':30}" in text and f"{1000 * u:.1f} mV" in text
    answer = json.loads(said(capsys, "12.40 V", "--meter", "generic-6000", "--json"))
    assert answer["budget"]["u"] == pytest.approx(u, rel=1e-9)
    squares = sum(row["u"] ** 2 for row in answer["budget"]["rows"])
    assert math.sqrt(squares) == pytest.approx(u, rel=1e-9)
    assert answer["reading"]["u_shared"] == pytest.approx(answer["budget"]["u_shared"])


def test_ohms_are_corrected_for_the_leads(capsys: pytest.CaptureFixture[str]) -> None:
    text = said(capsys, "0.4 ohm", "--meter", "generic-6000")
    assert "not zeroed: reads high by 0 to twice this" in text
    assert "correction to add: -0.2 ohm" in text and "so taken as: 0.2 ohm ± 0.34 ohm" in text


def test_ac_volts_fall_off_with_the_frequency(capsys: pytest.CaptureFixture[str]) -> None:
    """One pole at the sheet's 1 kHz: at 300 Hz the reading is low by sqrt(1 + 0.3^2) - 1 = 4.4 %
    (textbook roll-off of a single pole), half of which stays as doubt."""
    words = ("24.0 V", "--meter", "generic-2000", "--frequency", "300 Hz", "--json")
    budget = json.loads(said(capsys, *words))["budget"]
    low = 24.0 * (math.sqrt(1 + 0.3**2) - 1)
    assert budget["correction"] == pytest.approx(low)
    (row,) = [r for r in budget["rows"] if r["source"] == "AC bandwidth"]
    assert row["u"] == pytest.approx(low / 2 / math.sqrt(3))
    assert "correction to add: 1.06 V" in said(capsys, *words[:-1])


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["OL"], "--as ohms"),
        (["12.4"], "name the quantity: --as ohms"),
        (["12.4 V", "--meter", "generic"], "no meter 'generic'"),
        (["12.4 V", "--meter", "generic-6000", "--range", "66 V"], "it has 600 mV, 6 V, 60 V"),
        (["12.4 V", "--range", "60 V"], "--range needs --meter"),
        (["12.4 V", "--as", "ohm"], "Did you mean ohms?"),
        (["5 V", "--as", "ohms"], "this test wants resistance"),
        (["5 V", "--frequency", "3 bananas"], "not the unit"),
    ],
)
def test_what_is_wrong_names_the_way_out(
    capsys: pytest.CaptureFixture[str], words: list[str], told: str
) -> None:
    assert main(["read", *words]) == 2
    out, err = capsys.readouterr()
    assert told in err and not out


def test_why_shows_the_doubt_of_a_step(tmp_path: Path) -> None:
    bench = Bench(tmp_path)
    bench.enter(INTRO)
    before = bench.enter("why pack_rest")
    assert "A good one" in before and "accuracy, common part" in before
    bench.enter("pack_rest: 57.3")
    after = bench.enter("why pack_rest")
    assert "Read: 57.3 57.3 V on the 60 V range" in after and "together" in after
    bench.record.log.close()


def test_why_of_a_compared_step_reckons_with_the_frequency(tmp_path: Path) -> None:
    bench = Bench(tmp_path, "mower-battery-56v", "dead")
    bench.enter("no\nnothing\nnone\nmotor_spun: 6.52 6.49 6.51\n0.2 V")
    assert bench.job.readings[-1].text == "6.52; 6.49; 6.51"
    text = bench.enter("why motor_spun")
    assert "AC bandwidth" in text and "half of the correction for 70 Hz" in text
    assert "Compared on one range, the part common to all falls out." in text
    bench.record.log.close()


def test_three_pairs_may_be_typed_one_by_one(tmp_path: Path) -> None:
    bench = Bench(tmp_path, "mower-battery-56v", "dead")
    bench.enter("no\nnothing\nnone\nmotor_spun: 6.52 6.49 6.51\n0.2 V\nundo")
    assert "type all, on one range: UV VW WU" in bench.enter("do motor_spun")
    assert "UV 6.52; still to read: VW WU" in bench.enter("6.52")
    assert "UV and VW differ by 30 mV ± 60 mV" in bench.enter("6.49")
    said = bench.enter("6.51")
    assert "UV 6.52, VW 6.49, WU 6.51, 30 mV ± 60 mV apart" in said and "in balance" in said
    last = bench.job.readings[-1]
    assert last.text == "6.52; 6.49; 6.51" and last.verdict == "good"
    assert [r.text for r in bench.job.live_readings if r.test == "motor_spun"] == [last.text]
    bench.record.log.close()
