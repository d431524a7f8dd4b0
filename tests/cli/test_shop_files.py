"""``knowngood paper keep`` as typed: what a file is shows in it."""

from __future__ import annotations

from pathlib import Path

import pytest

from knowngood.cli import main
from tests.shop.test_notice_file import LIST


def test_a_list_of_notices_is_one_with_or_without_the_option(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "recalls.yaml").write_text(LIST, encoding="utf-8")
    (tmp_path / "odd.yaml").write_text("notices: [1]\nprogramme: x\n", encoding="utf-8")
    store = ("--store", str(tmp_path / "shop.db"))
    assert main(["paper", "check", str(tmp_path / "recalls.yaml")]) == 0
    assert capsys.readouterr().out == "recalls.yaml: 2 notices, no problem found\n"
    assert main(["paper", "keep", str(tmp_path / "recalls.yaml"), *store]) == 0
    assert capsys.readouterr().out == "kept: 2 notices, looked for at check-in\n"
    assert main(["paper", "kept", *store]) == 0
    assert "notices notices: list of recalls and notices" in capsys.readouterr().out
    assert main(["paper", "keep", str(tmp_path / "odd.yaml"), *store]) == 2
    assert "maker is missing" in capsys.readouterr().err  # of a programme
