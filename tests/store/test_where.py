"""Where the record lies: what the person says, else what the platform says."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from knowngood.store.where import files_folder, store_path


def test_the_person_first_then_the_environment() -> None:
    named = {"KNOWNGOOD_STORE": "/srv/shop.db", "XDG_DATA_HOME": "/data"}
    assert store_path(Path("here.db"), named) == Path("here.db")
    assert store_path(None, named) == Path("/srv/shop.db")


def test_the_users_data_folder(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "platform", "linux")
    # XDG Base Directory Specification 0.8: $HOME/.local/share if XDG_DATA_HOME is unset or
    # empty, and a relative path in it is invalid and to be ignored.
    monkeypatch.setenv("HOME", "/home/sam")
    default = Path("/home/sam/.local/share/knowngood/shop.db")
    assert store_path(None, {"XDG_DATA_HOME": "/data"}) == Path("/data/knowngood/shop.db")
    assert store_path(None, {}) == default
    assert store_path(None, {"XDG_DATA_HOME": ""}) == default
    assert store_path(None, {"XDG_DATA_HOME": "data"}) == default


def test_files_lie_beside_the_record() -> None:
    assert files_folder(Path("/srv/shop.db")) == Path("/srv/shop.db.files")
