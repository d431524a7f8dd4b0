"""Mail through a real SMTP server on this computer, with TLS; into files where none is set."""

from __future__ import annotations

import socket
import ssl
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from email import message_from_bytes, policy
from email.message import EmailMessage
from ipaddress import ip_address
from pathlib import Path
from typing import Any

import pytest
from aiosmtpd.controller import Controller
from aiosmtpd.smtp import AuthResult, LoginPassword
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID

from knowngood.job.counter import CheckedIn
from knowngood.job.paperwork import MailFailed, MailSent
from knowngood.job.shop_files import MailSet
from knowngood.places import account, mail
from knowngood.places.gather import View, load_job
from knowngood.places.mail import Letter
from knowngood.places.record import Record, Refused
from knowngood.shop.estimate import Line
from knowngood.shop.money import Money, Taxes
from knowngood.store.post import NotSent, Server, secret_of, send
from tests.places.conftest import at

SECRET = "correct horse"


@dataclass
class Inbox:
    messages: list[EmailMessage] = field(default_factory=list)
    refuse: str = ""

    async def handle_RCPT(
        self, server: Any, session: Any, envelope: Any, address: str, options: Any
    ) -> str:
        if address == self.refuse:
            return "550 no such mailbox"
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(self, server: Any, session: Any, envelope: Any) -> str:
        found = message_from_bytes(envelope.content, policy=policy.default)
        assert isinstance(found, EmailMessage)
        self.messages.append(found)
        return "250 kept"


def certificate(folder: Path) -> tuple[Path, Path]:
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "localhost")])
    now = datetime.now(UTC)
    names = [x509.DNSName("localhost"), x509.IPAddress(ip_address("127.0.0.1"))]
    made = (
        x509.CertificateBuilder().subject_name(name).issuer_name(name).public_key(key.public_key())
        .serial_number(7).not_valid_before(now - timedelta(days=1))
        .not_valid_after(now + timedelta(days=2))
        .add_extension(x509.SubjectAlternativeName(names), critical=False)
        .add_extension(x509.BasicConstraints(ca=True, path_length=None), critical=True)
        .sign(key, hashes.SHA256())
    )  # fmt: skip
    cert_file, key_file = folder / "cert.pem", folder / "key.pem"
    cert_file.write_bytes(made.public_bytes(serialization.Encoding.PEM))
    key_file.write_bytes(
        key.private_bytes(
            serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8,
            serialization.NoEncryption(),
        )
    )  # fmt: skip
    return cert_file, key_file


def check(server: Any, session: Any, envelope: Any, mechanism: str, given: Any) -> AuthResult:
    assert isinstance(given, LoginPassword)
    right = (given.login, given.password) == (b"alder", SECRET.encode())
    return AuthResult(success=right, handled=False)


@contextmanager
def serving(inbox: Inbox, folder: Path) -> Iterator[tuple[int, ssl.SSLContext]]:
    """A server with STARTTLS that asks for a password; its port, and who trusts it."""
    cert, key = certificate(folder)
    own = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
    own.load_cert_chain(cert, key)
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    controller = Controller(
        inbox, hostname="127.0.0.1", port=port, tls_context=own, require_starttls=True,
        authenticator=check, auth_required=True, auth_require_tls=True,
    )  # fmt: skip
    controller.start()
    try:
        yield port, ssl.create_default_context(cafile=str(cert))
    finally:
        controller.stop()


@pytest.fixture
def estimated(record: Record, dead: View) -> str:
    job = dead.job.id
    record.append(job, [CheckedIn(contact="rosa@mail.example, evenings")], at(1))
    lines = [Line("labour", "find and mend", Money(Decimal("45.00"), "USD"))]
    account.make_estimate(record, job, lines, Taxes({}), "USD", at(2))
    return job


def test_through_a_server_with_tls_and_a_password(
    record: Record, estimated: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("SHOP_MAIL", SECRET)
    inbox = Inbox()
    with serving(inbox, tmp_path) as (port, trust):
        mail.set_mail(
            record,
            MailSet("127.0.0.1", float(port), "starttls", "alder", "env:SHOP_MAIL",
                    "shop@alder.example"),
            at(3),
        )  # fmt: skip
        letter = mail.letter_for(record, estimated, "estimate")
        assert letter.to == "rosa@mail.example"
        assert "The estimate is attached: 45.00 USD" in letter.body
        assert inbox.messages == []  # nothing goes out by itself
        sent = mail.post(record, estimated, letter, at(4), "e1", trust)
        assert isinstance(sent, MailSent)
        again = mail.post(record, estimated, letter, at(5), "e1", trust)  # a second tap
        assert again == sent
        inbox.refuse = "nobody@mail.example"
        refused = mail.post(
            record, estimated, Letter("ready", "nobody@mail.example", "s", "b"), at(6), "e2", trust
        )
    assert isinstance(refused, MailFailed) and "does not take mail for nobody" in refused.reason
    (message,) = inbox.messages
    assert (message["To"], message["From"]) == ("rosa@mail.example", "shop@alder.example")
    name = load_job(record, estimated).name
    assert message["Subject"] == f"Estimate for your Brackwater BT-5, {name}"
    (pdf,) = message.iter_attachments()
    assert pdf.get_content_type() == "application/pdf"
    assert bytes(pdf.get_content()).startswith(b"%PDF")
    mails = [m for m, _ in load_job(record, estimated).paperwork.mails]
    assert [type(m).__name__ for m in mails] == ["MailSent", "MailFailed"]
    kept = b"".join(p.read_bytes() for p in tmp_path.rglob("*.db*") if p.is_file())
    assert SECRET.encode() not in kept  # the record never has the password


def test_what_goes_wrong_is_said_and_written_down(
    record: Record, estimated: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    letter = mail.letter_for(record, estimated, "ready")
    with serving(Inbox(), tmp_path) as (port, trust):
        ways = [
            (Server("127.0.0.1", port, "starttls", "alder", "env:WRONG"), trust, "user and passw"),
            (Server("127.0.0.1", port, "starttls", "alder", "env:GONE"), trust, "has no GONE"),
            (Server("127.0.0.1", port), None, "certificate is not trusted"),
            (Server("127.0.0.1", port, "none"), None, "STARTTLS"),  # the server insists on it
            (Server("mail.invalid", 25, "none", "alder", "env:WRONG"), None, "without TLS"),
        ]
        monkeypatch.setenv("WRONG", "guess")
        for server, trusted, said in ways:
            message = EmailMessage()
            message["To"], message["From"] = "a@mail.example", "b@mail.example"
            message.set_content("x")
            with pytest.raises(NotSent, match=said):
                send(server, message, trusted)
    mail.set_mail(record, MailSet("127.0.0.1", float(port), "starttls", "", "", "a@b.example"),
                  at(3))  # fmt: skip
    gone = mail.post(record, estimated, letter, at(4), "e1")  # the server has stopped
    assert isinstance(gone, MailFailed) and f"127.0.0.1:{port}" in gone.reason


def test_without_a_server_it_is_a_file(record: Record, estimated: str) -> None:
    letter = mail.letter_for(record, estimated, "estimate")
    for entry in ("a", "b"):
        assert isinstance(mail.post(record, estimated, letter, at(3), entry), MailSent)
    files = sorted(record.files.folder.parent.glob("*.mail/*.eml"))
    assert len(files) == 2
    message = message_from_bytes(files[0].read_bytes(), policy=policy.default)
    assert isinstance(message, EmailMessage)
    body = message.get_body()
    assert body is not None and "The estimate is attached" in body.get_content()
    assert [a.get_filename() for a in message.iter_attachments()] == [
        f"estimate-{load_job(record, estimated).name}.pdf"
    ]


def test_a_password_file_is_for_its_owner_alone(tmp_path: Path) -> None:
    path = tmp_path / "secret"
    path.write_text(f"{SECRET}\n", encoding="utf-8")
    path.chmod(0o644)
    with pytest.raises(NotSent, match="chmod 600"):
        secret_of(f"file:{path}")
    path.chmod(0o600)
    assert secret_of(f"file:{path}") == SECRET
    with pytest.raises(NotSent, match="cannot be read"):
        secret_of(f"file:{tmp_path / 'none'}")
    with pytest.raises(NotSent, match="where is the password"):
        secret_of("hunter2")


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"server": "bad server"}, "no server"),
        ({"sender": "nobody"}, "no address"),
        ({"port": 70000.0}, "port"),
        ({"secret": "hunter2"}, "not what it is"),
        ({"secret": ""}, "needs a password"),
        ({"templates": {"advert": "x"}}, "no letter 'advert'"),
        ({"templates": {"ready": "Dear {name}"}}, "has {name}"),
    ],
)
def test_settings_that_cannot_be(record: Record, wrong: dict[str, Any], said: str) -> None:
    good = {"server": "mail.example", "sender": "shop@alder.example", "user": "alder",
            "secret": "env:SHOP_MAIL"}  # fmt: skip
    with pytest.raises(Refused, match=said):
        mail.set_mail(record, MailSet(**{**good, **wrong}), at(1))


@pytest.mark.parametrize(
    ("to", "subject", "said"),
    [
        ("rosa", "s", "no address"),
        ("a@b.example, c@d.example", "s", "no address"),
        ("a@b.example\nBcc: all@d.example", "s", "no address"),
        ("a@b.example", "", "subject"),
    ],
)
def test_a_letter_that_cannot_be(
    record: Record, estimated: str, to: str, subject: str, said: str
) -> None:
    with pytest.raises(Refused, match=said):
        mail.post(record, estimated, Letter("ready", to, subject, "b"), at(3), "e")


def test_a_subject_cannot_smuggle_a_header(record: Record, estimated: str) -> None:
    letter = Letter("ready", "a@b.example", "one\r\nBcc: all@d.example", "b")
    sent = mail.post(record, estimated, letter, at(3), "e")
    assert isinstance(sent, MailSent)
    (file,) = record.files.folder.parent.glob("*.mail/*.eml")
    message = message_from_bytes(file.read_bytes(), policy=policy.default)
    assert message["Bcc"] is None and message["Subject"] == "one Bcc: all@d.example"
