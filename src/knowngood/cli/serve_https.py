"""Serving over HTTPS beside plain HTTP: the same pages, on a port of their own.

Plain HTTP stays for phones that do not trust the shop's authority (yet): they get its certificate
there, and their unsent entries are sent there.
"""

from __future__ import annotations

import asyncio
import contextlib
import os
import socket
import ssl
import threading
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from knowngood.store.problem import StoreProblem
from knowngood.store.where import keys_folder

if TYPE_CHECKING:
    from knowngood.store.authority import Certificates

LOOK_EVERY = 6 * 3600.0  # seconds
RENEW_BEFORE = timedelta(days=15)


def names_here() -> list[str]:
    """The names by which this computer is reached in its own network."""
    name = socket.gethostname().split(".")[0].lower()
    return [name, f"{name}.local", "localhost"] if name else ["localhost"]


def keys_for(store: Path, addresses: list[str]) -> Certificates:
    """Certificates for this computer, made now. Raises StoreProblem."""
    try:
        from knowngood.store.authority import certificates
    except ImportError as error:
        raise StoreProblem(
            f"HTTPS needs the package cryptography, which is not installed here ({error}). "
            f"Install the program anew with its lock, or serve without --https."
        ) from error
    return certificates(keys_folder(store), names_here(), addresses, datetime.now(UTC))


def announce(address: str, keys: Certificates) -> None:
    """Where HTTPS is, and how a phone knows that it got the right authority."""
    print(f"Over HTTPS at {address} once a phone trusts the shop's authority: see /trust there.")
    print(f"Its fingerprint begins {keys.fingerprint[:19]}")
    if keys.left_out:
        print(f"Not over HTTPS by: {', '.join(keys.left_out)}")


def run_both(
    app: str, plain: socket.socket, safe: socket.socket, keys: Certificates,
    renew: Callable[[], Certificates],
) -> int:  # fmt: skip
    """Serve both until stopped; exit code. The certificate is renewed while it runs."""
    import uvicorn
    from uvicorn.importer import import_from_string

    made = import_from_string(app)()
    given = {"log_level": "error", "access_log": False, "timeout_graceful_shutdown": 3,
             "server_header": False}  # fmt: skip
    first = uvicorn.Config(
        made,
        ssl_certfile=str(keys.chain),
        ssl_keyfile=str(keys.key),
        **given,  # type: ignore[arg-type]
    )
    second = uvicorn.Config(made, lifespan="off", **given)  # type: ignore[arg-type]

    class Beside(uvicorn.Server):
        """Stops with the other one, which alone hears Ctrl-C."""

        @contextlib.contextmanager
        def capture_signals(self) -> Iterator[None]:
            yield

    server, beside = uvicorn.Server(first), Beside(second)

    async def both() -> None:
        other = asyncio.ensure_future(_when_started(server, beside, plain))
        try:
            await server.serve(sockets=[safe])
        finally:
            beside.should_exit = True
            await other

    done = threading.Event()
    watch = threading.Thread(target=_renewals, args=(first, keys, renew, done), daemon=True)
    watch.start()
    try:
        asyncio.run(both())
    finally:
        done.set()
    return 0 if server.started else 70


async def _when_started(server: object, beside: object, plain: socket.socket) -> None:
    """Plain HTTP opens when the record is open, which the first server does."""
    while not server.started:  # type: ignore[attr-defined]
        if beside.should_exit:  # type: ignore[attr-defined]
            return
        await asyncio.sleep(0.02)
    await beside.serve(sockets=[plain])  # type: ignore[attr-defined]


def _renewals(
    config: object, keys: Certificates, renew: Callable[[], Certificates], done: threading.Event
) -> None:
    """A server that runs for months shows a fresh certificate to each new connection."""
    while not done.wait(LOOK_EVERY):
        if keys.ends - datetime.now(UTC) > RENEW_BEFORE:
            continue
        context = getattr(config, "ssl", None)
        with contextlib.suppress(StoreProblem, OSError, ssl.SSLError):
            keys = renew()
            if isinstance(context, ssl.SSLContext):
                context.load_cert_chain(keys.chain, keys.key)


def tell_the_pages(address: str, keys: Certificates) -> None:
    """What the page that helps to trust the authority needs to know."""
    os.environ["KNOWNGOOD_HTTPS"] = address
    os.environ["KNOWNGOOD_AUTHORITY"] = str(keys.authority)
