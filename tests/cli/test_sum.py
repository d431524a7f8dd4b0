"""`knowngood sum` as a person and a script see it; docs/sums.md says what it does."""

from __future__ import annotations

import json
import re
import shlex
from pathlib import Path

import pytest

from knowngood.cli import main
from knowngood.cli.sum import SUMS, run_sum

Captured = pytest.CaptureFixture[str]


def test_one_sum_on_one_screen(capsys: Captured) -> None:
    assert main(["sum", "wire-drop", "awg=18", "length=3 m", "amps=10"]) == 0
    assert capsys.readouterr().out == (
        "Volts lost along a lead and its return\n"
        "  volts lost        1.257 V\n"
        "  loop              0.1257 ohm\n"
        "  heat              12.57 W\n"
        "  a bad joint adds  100 mV\n"
        "  and heats with    1 W\n"
        '  (no ± was given; length="3 m ± 2 %" would be carried to the results)\n'
        "With:     awg 18, length 3 m, amps 10 A, joint 10 mohm, at 20 degC\n"
        "Formula:  V = 2 I L / (58 MS/m x area), x (234.5 + T) / 254.5; AWG d = 0.127 mm x\n"
        "          92^((36-n)/39); a joint I R, I^2 R\n"
        "Source:   IEC 60028 (100 % IACS), ASTM B258, IEEE 118;"
        " 10 mohm of a bad joint is common practice\n"
        "Not true: with further joints and plugs; tinned or copper-clad aluminium wire;"
        " a hot bundle\n"
    )


def test_as_json(capsys: Captured) -> None:
    assert run_sum("capacitor-energy", ["capacitance=1000 uF ± 20 %", "volts=60 V"], True) == 0
    found = json.loads(capsys.readouterr().out)
    (energy,) = found["results"]
    assert energy["value"] == pytest.approx(1.8)
    assert energy["unit"] == "J" and energy["u"] == pytest.approx(0.36 / 3**0.5)
    assert found["sum"] == "capacitor-energy" and found["caution"] and found["source"]
    assert run_sum("fuse-time", ["amps=32 A", "rating=30 A"], True) == 0
    assert json.loads(capsys.readouterr().out)["results"][2]["value"] is None


def test_the_list_and_what_one_takes(capsys: Captured) -> None:
    assert main(["sum"]) == 0
    out = capsys.readouterr().out
    assert all(f"{name} " in out for name in SUMS)
    assert run_sum(None, [], True) == 0
    assert [one["sum"] for one in json.loads(capsys.readouterr().out)] == list(SUMS)
    assert main(["sum", "fuel-mix"]) == 0
    assert 'knowngood sum fuel-mix fuel="1 gal" ratio=50:1' in capsys.readouterr().out
    assert run_sum("fuel-mix", [], True) == 0
    takes = {i["name"]: i["needed"] for i in json.loads(capsys.readouterr().out)["inputs"]}
    assert takes == {"fuel": True, "ratio": True}


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        (["wire-drip"], "Did you mean wire-drop?"),
        (["wire-drop", "awg=18", "lenght=3 m", "amps=10 A"], "Did you mean length?"),
        (["wire-drop", "awg=18", "length=3", "m", "amps=10"], 'quote it: length="3 m"'),
        (["wire-drop", "m"], "'m' is not name=value"),
        (["wire-drop", "awg=18", "awg=18"], "given twice"),
        (["wire-drop", "awg=18", "length=3 m", "amps=ten"], "amps: "),
        (["leak-down", "supply=80 psi", "held=90 psi"], "swapped"),
    ],
)
def test_what_is_wrong_exits_2_with_the_way_out(
    typed: list[str], said: str, capsys: Captured
) -> None:
    assert main(["sum", *typed]) == 2
    out, err = capsys.readouterr()
    assert out == "" and said in err and "Traceback" not in err
    assert "knowngood sum" in err.splitlines()[-1]


def test_a_large_doubt_is_called_rough(capsys: Captured) -> None:
    run_sum(
        "capacitor-bleed", ["volts=60 V", "capacitance=1 mF ± 20 %", "ohms=1 kohm", "after=5 s"]
    )
    assert "first order is rough" in capsys.readouterr().out


def test_the_page_lists_every_sum_with_an_example(root: Path) -> None:
    page = (root / "docs" / "sums.md").read_text(encoding="utf-8")
    rows = dict(re.findall(r"(?m)^\| `([a-z-]+)` \| [^|]+ \| `(.+)` \|$", page))
    assert list(rows) == list(SUMS)
    assert {name: SUMS[name].example for name in SUMS} == rows


def test_what_the_page_shows_is_what_it_prints(root: Path, capsys: Captured) -> None:
    page = (root / "docs" / "sums.md").read_text(encoding="utf-8")
    shown = re.findall(r"```console\n\$ knowngood (sum [^\n]*)\n(.*?)```", page, re.DOTALL)
    assert len(shown) >= 3
    for typed, wanted in shown:
        main(shlex.split(typed))
        assert "".join(capsys.readouterr()) == wanted
