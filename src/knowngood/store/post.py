"""Messages on their way out: through the shop's SMTP server, or as .eml files in a folder.

The password is read from the environment or from a file that only its owner can read, each time it
is needed; it is kept nowhere.
"""

from __future__ import annotations

import os
import re
import smtplib
import ssl
import stat
from dataclasses import dataclass
from email.message import EmailMessage
from pathlib import Path
from typing import Final, Literal

PATIENCE: Final = 20.0  # seconds for the server to answer
HERE: Final = ("localhost", "127.0.0.1", "::1")
OPEN_TO_OTHERS: Final = stat.S_IRWXG | stat.S_IRWXO


class NotSent(Exception):
    """The message did not go out; the words say why and what to do."""


@dataclass(frozen=True, slots=True)
class Server:
    """`port` 0: the usual one for this kind of safety. `secret`: "env:NAME", "file:PATH" or ""."""

    name: str
    port: int = 0
    safety: Literal["tls", "starttls", "none"] = "starttls"
    user: str = ""
    secret: str = ""

    @property
    def at(self) -> int:
        return self.port or {"tls": 465, "starttls": 587, "none": 25}[self.safety]


def send(server: Server, message: EmailMessage, trust: ssl.SSLContext | None = None) -> None:
    """Hand the message to the server. `trust`: whose certificates count, the system's when None.

    Raises NotSent. Without TLS a password goes to this computer alone.
    """
    password = secret_of(server.secret) if server.user else ""
    if server.safety == "none" and server.user and server.name not in HERE:
        raise NotSent("a password is not sent without TLS; set starttls or tls")
    context = trust or ssl.create_default_context()
    try:
        if server.safety == "tls":
            line: smtplib.SMTP = smtplib.SMTP_SSL(
                server.name, server.at, timeout=PATIENCE, context=context
            )
        else:
            line = smtplib.SMTP(server.name, server.at, timeout=PATIENCE)
        with line:
            if server.safety == "starttls":
                line.starttls(context=context)
            if server.user:
                line.login(server.user, password)
            line.send_message(message)
    except smtplib.SMTPRecipientsRefused as error:
        raise NotSent(f"the server does not take mail for {', '.join(error.recipients)}") from error
    except smtplib.SMTPAuthenticationError as error:
        raise NotSent("the server does not take this user and password") from error
    except (smtplib.SMTPException, OSError, ValueError) as error:
        raise NotSent(f"{server.name}:{server.at}: {_words(error)}") from error


def put_into(folder: Path, message: EmailMessage, name: str) -> Path:
    """The message as a file that any mail program opens. Raises NotSent."""
    plain = re.sub(r"[^A-Za-z0-9._-]", "_", name)[:80]
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for n in range(1, 1000):
            path = folder / f"{plain}{f'-{n}' if n > 1 else ''}.eml"
            try:
                with path.open("xb") as out:
                    out.write(message.as_bytes())
                return path
            except FileExistsError:
                continue
    except OSError as error:
        raise NotSent(f"{folder} cannot be written: {error.strerror or error}") from error
    raise NotSent(f"{folder} has a thousand messages of this name; send or remove some")


def secret_of(where: str) -> str:
    """The password from where it lies. Raises NotSent naming what to do."""
    kind, _, name = where.partition(":")
    if kind == "env" and name:
        if name not in os.environ:
            raise NotSent(f"the environment has no {name}; set it before the program starts")
        return os.environ[name]
    if kind == "file" and name:
        path = Path(name).expanduser()
        try:
            if os.name == "posix" and path.stat().st_mode & OPEN_TO_OTHERS:
                raise NotSent(f"{path} can be read by others; chmod 600 {path}")
            return path.read_text(encoding="utf-8").strip()
        except (OSError, UnicodeDecodeError) as error:
            raise NotSent(f"{path} cannot be read: {error}") from error
    raise NotSent('where is the password? "env:NAME" or "file:PATH"')


def keep_password(file: Path, password: str) -> None:
    """The password into a file that its owner alone can read (mode 600), in one step. Raises
    NotSent where it is no line of text or the file cannot be written."""
    if not password.strip() or not password.isprintable() or len(password) > 500:
        raise NotSent("a password is one line of signs that can be typed, at most 500")
    part = file.with_name(f"{file.name}.part")
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        file.parent.chmod(0o700)
        part.unlink(missing_ok=True)
        with os.fdopen(os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as out:
            out.write(f"{password}\n".encode())
            out.flush()
            os.fsync(out.fileno())
        part.replace(file)
    except OSError as error:
        raise NotSent(f"{file} cannot be written: {error.strerror or error}") from error


def _words(error: Exception) -> str:
    if isinstance(error, ssl.SSLCertVerificationError):
        return f"its certificate is not trusted ({error.verify_message})"
    if isinstance(error, TimeoutError):
        return "no answer in time"
    said = str(error) or type(error).__name__
    return " ".join(said.split())[:200]
