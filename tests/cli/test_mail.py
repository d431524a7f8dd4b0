"""``knowngood mail`` in processes of its own, against a real server with TLS on this computer."""

from __future__ import annotations

import io
import json
import os
import stat
import subprocess
import sys
from pathlib import Path

import pytest

from knowngood.cli import main
from tests.places.test_mail import SECRET, Inbox, serving


def run(
    store: Path, *words: str, typed: str = "", **more: str
) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "knowngood", *words, "--store", str(store)],
        input=typed, capture_output=True, text=True, timeout=120, check=False,
        env={**os.environ, **more},
    )  # fmt: skip


def everything(folder: Path) -> bytes:
    return b"".join(path.read_bytes() for path in folder.rglob("*") if path.is_file())


@pytest.mark.slow
def test_set_show_and_test_with_a_password_that_is_nowhere_else(tmp_path: Path) -> None:
    """The server asks for TLS and a password (RFC 3207, RFC 4954); aiosmtpd stands for it."""
    store, inbox = tmp_path / "shop" / "shop.db", Inbox()
    (tmp_path / "tls").mkdir()
    with serving(inbox, tmp_path / "tls") as (port, _):
        trust = {"SSL_CERT_FILE": str(tmp_path / "tls" / "cert.pem")}
        done = run(
            store, "mail", "set", "--server", "127.0.0.1", "--port", str(port), "--sender",
            "shop@alder.example", "--user", "alder", "--password", typed=f"{SECRET}\n",
        )  # fmt: skip
        assert (done.returncode, done.stderr) == (0, "")
        shown = run(store, "mail", "show", "--json")
        assert SECRET not in done.stdout + shown.stdout
        assert json.loads(shown.stdout)["secret_problem"] == ""
        sent = run(store, "mail", "test", "ida@alder.example", **trust)
        assert (sent.returncode, sent.stderr) == (0, "")
        assert "sent to ida@alder.example by 127.0.0.1" in sent.stdout
        (message,) = inbox.messages
        assert message["To"] == "ida@alder.example" and message["From"] == "shop@alder.example"
        untrusted = run(store, "mail", "test", "ida@alder.example")
        assert untrusted.returncode == 2 and "certificate is not trusted" in untrusted.stderr
        run(store, "mail", "set", "--password", typed="a guess\n")
        wrong = run(store, "mail", "test", "ida@alder.example", **trust)
        assert wrong.returncode == 2 and "does not take this user and password" in wrong.stderr
        run(store, "mail", "set", "--password", typed=f"{SECRET}\n")
    (file,) = tmp_path.rglob("mail-password")
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    assert file.read_text(encoding="utf-8") == f"{SECRET}\n"
    done = run(store, "job", "backup", str(tmp_path / "copy"))
    assert done.returncode == 0
    assert SECRET.encode() not in everything(tmp_path / "copy")
    assert run(store, "mail", "set", "--user", "", "--secret", "").returncode == 0
    assert not file.exists()  # needed no more
    assert SECRET.encode() not in everything(store.parent)  # nor in the record ever


def test_only_what_is_given_changes(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    store, text = tmp_path / "shop.db", tmp_path / "ready.txt"
    text.write_text("Dear {customer}, come and fetch it. {shop}\n", encoding="utf-8")

    def told(*words: str) -> str:
        assert main(["mail", "set", *words, "--store", str(store)]) == 0
        return capsys.readouterr().out

    told("--server", "mail.example", "--sender", "shop@alder.example", "--safety", "tls")
    done = told("--port", "4650", "--letter", f"ready={text}")
    assert "By mail.example, port 4650, safety tls, from shop@alder.example" in done
    assert "Without a user" in done and "Own letters: ready" in done
    assert "Own letters" not in told("--letter", "ready=")
    assert f"letters become files in {store}.mail" in told("--server", "")
    assert main(["mail", "test", "a@b.example", "--store", str(store)]) == 2
    assert "no mail server is set" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--safety", "ssl"], "may be tls, starttls, none"),
        (["--server", "mail.example"], "no address to send from"),
        (["--port", "70000"], "give 0 to 65535"),
        (["--secret", "hunter2"], "not what it is"),
        (["--password"], "give --user as well"),
        (["--user", "a", "--password"], "one line of signs"),  # nothing typed
        (["--letter", "advert=x"], "names are estimate, part, ready, claim"),
        (["--letter", "ready=none.txt"], "none.txt"),
    ],
)
def test_what_cannot_be_set(
    tmp_path: Path, words: list[str], said: str, capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    monkeypatch.setattr("sys.stdin", io.StringIO(""))
    assert main(["mail", "set", *words, "--store", str(tmp_path / "shop.db")]) == 2
    assert said in capsys.readouterr().err
    assert not list(tmp_path.rglob("mail-password*"))
