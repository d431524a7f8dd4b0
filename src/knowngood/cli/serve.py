"""`knowngood serve`: the shop in the browsers of its own network, until it is stopped."""

from __future__ import annotations

import os
import socket
import sys
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from knowngood.store.authority import Certificates

NOTICE = "No accounts: anyone on this network can read and write. Stop with Ctrl-C."
APP = "knowngood.web.app:from_environment"
BACKLOG = 128
WRONG = 2


def serve(
    store: Path, host: str = "0.0.0.0", port: int = 8056, open_browser: bool = False,
    patience: float | None = None, https: bool = False, https_port: int | None = None,
) -> int:  # fmt: skip
    """Serve this record; exit code. The address comes with a QR code for the phone.

    patience: seconds to plan after each reading at most. https: over HTTPS as well, at
    `https_port`, by default the one after `port`.
    """
    taken = _bound(host, port)
    if isinstance(taken, str):
        print(taken, file=sys.stderr)
        return WRONG
    try:
        if problem := _cannot_open(store):
            print(problem, file=sys.stderr)
            return WRONG
        port = taken.getsockname()[1]
        address = f"http://{_reached_at(host)}:{port}"
        _announce(store, address)
        os.environ["KNOWNGOOD_ADDRESS"] = address
        if open_browser:
            import webbrowser

            webbrowser.open(address)
        if patience is not None:
            os.environ["KNOWNGOOD_PATIENCE"] = str(patience)
        if https:
            return _run_safe(store, host, taken, https_port)
        return _run(store, taken)
    finally:
        taken.close()


def serve_demo(store: Path, host: str = "0.0.0.0", port: int = 8056) -> int:
    """Serve the demo shop after its job was played; another port when this one is taken."""
    free = _bound(host, port)
    if isinstance(free, str):
        port = 0
    else:
        free.close()
    return serve(store, host, port)


def _run(store: Path, bound: socket.socket) -> int:
    import uvicorn

    os.environ["KNOWNGOOD_STORE"] = str(store)
    config = uvicorn.Config(
        APP, factory=True, log_level="error", access_log=False, timeout_graceful_shutdown=3,
        server_header=False,
    )  # fmt: skip
    server = uvicorn.Server(config)
    server.run(sockets=[bound])
    return 0 if server.started else 70


def _run_safe(store: Path, host: str, plain: socket.socket, port: int | None) -> int:
    """HTTPS with plain HTTP beside it."""
    from knowngood.cli import serve_https
    from knowngood.store.problem import StoreProblem

    after = plain.getsockname()[1] + 1
    safe = _bound(host, (0 if after > 65535 else after) if port is None else port)
    if isinstance(safe, str):
        print(safe.replace("--port", "--https-port"), file=sys.stderr)
        return WRONG
    reached = _reached_at(host)

    def keys() -> Certificates:
        return serve_https.keys_for(store, [reached, "127.0.0.1"])

    with safe:
        try:
            made = keys()
        except StoreProblem as problem:
            print(problem, file=sys.stderr)
            return WRONG
        named = reached if reached in (*made.names, *made.addresses) else made.names[0]
        address = f"https://{named}:{safe.getsockname()[1]}"
        serve_https.announce(address, made)
        sys.stdout.flush()
        serve_https.tell_the_pages(address, made)
        os.environ["KNOWNGOOD_STORE"] = str(store)
        return serve_https.run_both(APP, plain, safe, made, keys)


def _cannot_open(store: Path) -> str:
    """Why the record cannot be used, or "". It is made when it is not there."""
    from knowngood.store.log import Log
    from knowngood.store.problem import StoreProblem

    try:
        store.parent.mkdir(parents=True, exist_ok=True)
        Log.open(store).close()
    except StoreProblem as problem:
        return str(problem)
    except OSError as error:
        return f"{store.parent} cannot be made ({error.strerror}); name another with --store"
    return ""


def _bound(host: str, port: int) -> socket.socket | str:
    """A socket on this address, or why there is none."""
    try:
        family = socket.AF_INET6 if ":" in host else socket.AF_INET
        bound = socket.socket(family, socket.SOCK_STREAM)
        bound.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        bound.bind((host, port))
        bound.listen(BACKLOG)  # who comes before all is loaded waits a moment
    except (OSError, OverflowError, UnicodeError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        return (
            f"{host} port {port} cannot be used ({reason}). Is it served already? Else choose "
            f"another: knowngood serve --port {port + 1 if 0 < port < 65535 else 8057}"
        )
    return bound


def _reached_at(host: str) -> str:
    """The address by which a phone on the shop's network reaches this computer."""
    if host not in ("0.0.0.0", "::", ""):
        return f"[{host}]" if ":" in host else host
    try:
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
            probe.connect(("192.0.2.1", 9))  # no packet is sent; RFC 5737 keeps it for documents
            return str(probe.getsockname()[0])
    except OSError:
        return "127.0.0.1"


def _announce(store: Path, address: str) -> None:
    import segno

    print(f"\nThe shop is at {address}\nThe record is {store}\n{NOTICE}\n")
    if sys.stdout.isatty():
        segno.make(address, error="m").terminal(compact=True)
        print("Point the phone's camera at it: phone and this computer on the same network.")
    sys.stdout.flush()
