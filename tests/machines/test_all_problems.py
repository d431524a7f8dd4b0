"""Every problem of a file comes in one report, each with its line and the way out."""

from __future__ import annotations

from pathlib import Path

import pytest

from knowngood.cli.machine import check
from knowngood.machines.check import read_machine
from knowngood.machines.shipped import load_shipped

NAME = "string-trimmer-40v"
SLIPS = (  # old, new, what is said of it
    ("full_volts: 42 V", "full_volts: 42 ohm", "'42 ohm' is resistance; wanted: volts"),
    ("    # -- of the shop\n",
     "    - {ref: X1, kind: resistor, pins: {a: n1, b: n2}, ohms: 1 ohm}\n    # -- of the shop\n",
     "X1 is not joined to B-"),
    ("TN-40090, models", "TN-40036, models", "TN-40036 is the number of pack and of charger"),
    ("    price: 19\n    minutes: 7\n", "    price: 19\n    minutes: -7\n", "minutes is -7"),
    ("    words: Main fuse\n", "    words: Main fuse\n    prise: 3\n", "Did you mean price?"),
    ("  pack_out:\n    words", "  pack_out:\n    needs: [cap_safe]\n    words",
     "pack_out needs cap_safe needs pack_out, a ring"),
    ("    condition: as_is\n    sees", "    condition: asis\n    sees", "Did you mean as_is?"),
    ("    verifies: true\n    grade: seen\n    good: yes 0.98",
     "    verifies: maybe\n    grade: seen\n    good: yes 0.98", "wanted: true or false"),
    ("    condition: cutting\n    minutes: 4", "    condition: cutting\n    minutes: four",
     "minutes is 'four', wanted: a number"),
    ("{low: 33 V, high: 42.3 V", "{low: 33 ohm, high: 42.3 V", "'33 ohm' is resistance"),
)  # fmt: skip


def test_ten_slips_of_every_kind_come_in_one_report(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = load_shipped(NAME)
    for old, new, _ in SLIPS:
        assert text.count(old) >= 1, old
        text = text.replace(old, new, 1)
    machine, problems = read_machine(text, "mine.yaml")
    assert machine is None
    said = [str(p) for p in problems]
    for _, _, wanted in SLIPS:
        assert any(wanted in line for line in said), (wanted, said)
    assert all(p.line > 0 and p.fix for p in problems)
    assert len(problems) <= len(SLIPS) + 2, said  # and few that only follow from another

    file = tmp_path / "mine.yaml"
    file.write_text(text, encoding="utf-8")
    assert check(file, False) == 2
    assert f"{len(problems)} problems in" in capsys.readouterr().err
    assert [p.name for p in tmp_path.iterdir()] == ["mine.yaml"]


@pytest.mark.parametrize(
    "text",
    ["", "# nothing\n", "- a\n", "machine: " + "[" * 5000 + "]" * 5000,
     "a: &a [x, x]\nb: &b [*a, *a]\nmachine: *b\n", "machine: !!python/name:os.system\n",
     'machine: a\nwords: "' + "x" * 50_000_000 + '"\n',
     "\n".join(" " * i + "a:" for i in range(99)), "\x00\x01"],
    ids=["empty", "comment", "list", "brackets", "anchors", "tag", "50 MB", "indent", "binary"],
)  # fmt: skip
def test_a_file_that_is_none_is_one_short_report(
    text: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "mine.yaml"
    file.write_text(text, encoding="utf-8")
    assert check(file, False) == 2
    told = capsys.readouterr()
    lines = (told.out + told.err).splitlines()
    assert 2 <= len(lines) <= 12 and all(len(line) < 400 for line in lines), lines
    assert "Traceback" not in told.err and file.name in lines[0]
