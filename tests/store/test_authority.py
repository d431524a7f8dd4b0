"""The shop's authority vouches for this shop and nothing else; openssl is the judge."""

from __future__ import annotations

import shutil
import ssl
import stat
import subprocess
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

pytest.importorskip("cryptography")

from knowngood.store import authority
from knowngood.store.problem import StoreProblem

NOW = datetime.now(UTC).replace(microsecond=0)
NAMES, ADDRESSES = ["bench", "bench.local"], ["192.168.7.20", "127.0.0.1"]


def openssl(*arguments: str | Path) -> str:
    if shutil.which("openssl") is None:
        pytest.skip("the command openssl is not installed")
    command = ["openssl", *map(str, arguments)]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60)
    return done.stdout + done.stderr


def test_openssl_trusts_the_server_by_each_of_its_names(tmp_path: Path) -> None:
    made = authority.certificates(tmp_path, NAMES, ADDRESSES, NOW)
    assert (made.names, made.addresses, made.left_out) == (tuple(NAMES), tuple(ADDRESSES), ())
    trust = ("verify", "-x509_strict", "-CAfile", made.authority)
    for check in ("-verify_hostname", "bench"), ("-verify_hostname", "bench.local"), (
        "-verify_ip", "192.168.7.20",
    ):  # fmt: skip
        assert "OK" in openssl(*trust, *check, made.chain)
    assert "mismatch" in openssl(*trust, "-verify_hostname", "other.test", made.chain)


def test_what_it_signs_for_others_is_worth_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """RFC 5280, 4.2.1.10: a name outside the permitted subtrees makes the path invalid."""
    authority.certificates(tmp_path, NAMES, ADDRESSES, NOW)
    monkeypatch.setattr(authority, "_under", lambda name, allowed: True)
    monkeypatch.setattr(authority, "_is_private", lambda text: True)
    for names, addresses in ((["bank.example"], []), ([], ["8.8.8.8"]), ([], ["2001:4860::1"])):
        made = authority.certificates(tmp_path, names, addresses, NOW)
        said = openssl("verify", "-CAfile", made.authority, made.chain)
        assert "permitted subtree violation" in said


def test_keys_are_their_owners_alone(tmp_path: Path) -> None:
    folder = tmp_path / "keys"
    authority.certificates(folder, NAMES, ADDRESSES, NOW)
    assert stat.S_IMODE(folder.stat().st_mode) == 0o700
    for name in ("authority.key", "server.key"):
        assert stat.S_IMODE((folder / name).stat().st_mode) == 0o600
    (folder / "authority.key").chmod(0o644)
    authority.certificates(folder, NAMES, ADDRESSES, NOW)
    assert stat.S_IMODE((folder / "authority.key").stat().st_mode) == 0o600
    assert not list(folder.glob(".*"))


def test_the_server_is_renewed_and_the_authority_stays(tmp_path: Path) -> None:
    first = authority.certificates(tmp_path, NAMES, ADDRESSES, NOW)
    leaf = first.chain.read_bytes()
    later = authority.certificates(tmp_path, NAMES, ["192.168.7.33"], NOW + timedelta(days=20))
    assert first.fingerprint == later.fingerprint and leaf != later.chain.read_bytes()
    assert (first.ends - NOW).days == 30 and (later.ends - NOW).days == 50
    ssl.create_default_context().load_verify_locations(later.authority)
    ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER).load_cert_chain(later.chain, later.key)


def test_what_it_may_not_vouch_for_is_said(tmp_path: Path) -> None:
    authority.certificates(tmp_path, NAMES, ADDRESSES, NOW)
    made = authority.certificates(tmp_path, ["Bench", "new.name"], ["10.0.0.4", "9.9.9.9"], NOW)
    assert (made.names, made.addresses) == (("bench",), ("10.0.0.4",))
    assert made.left_out == ("new.name", "9.9.9.9")
    with pytest.raises(StoreProblem, match="may not vouch for new"):
        authority.certificates(tmp_path, ["new.name"], [], NOW)


def test_damage_is_said_with_the_way_out(tmp_path: Path) -> None:
    authority.certificates(tmp_path, NAMES, ADDRESSES, NOW)
    (tmp_path / "authority.key").write_text("rot")
    with pytest.raises(StoreProblem, match=r"damaged.*backup"):
        authority.certificates(tmp_path, NAMES, ADDRESSES, NOW)
    (tmp_path / "authority.key").unlink()
    with pytest.raises(StoreProblem, match="one half"):
        authority.certificates(tmp_path, NAMES, ADDRESSES, NOW)
    (tmp_path / "file").write_text("")
    with pytest.raises(StoreProblem, match="without --https"):
        authority.certificates(tmp_path / "file" / "keys", NAMES, ADDRESSES, NOW)
