"""Running the pages on the loopback interface of this computer, and nowhere else."""

from __future__ import annotations

import os
import socket
import threading
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

import uvicorn
from starlette.applications import Starlette

from shearbolt.errors import ShearboltError, UsageError
from shearbolt.web.site import make_site, warm

HOST = "127.0.0.1"
_PEOPLE = 64
"""Requests at once; more than a farm has hands."""


def opened_port(port: int) -> socket.socket:
    """Take a port of the loopback interface; 0: any free one.

    Raises UsageError when it is taken.
    """
    # With the protocol named, asyncio sends each piece at once; without, a page waits 40 ms.
    taken = socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    try:
        if os.name == "posix":
            # Elsewhere it would let two programs have one port.
            taken.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        taken.bind((HOST, port))
        # Whoever comes before the pages are ready waits instead of being turned away.
        taken.listen(_PEOPLE)
    except OSError:
        taken.close()
        raise UsageError(
            f"Port {port} of this computer is taken; stop what uses it, or choose another with "
            "--port."
        ) from None
    return taken


def serve(book: Path, port: int, announce: Callable[[str], None]) -> None:
    """Serve the pages of a book until the person or the system ends it.

    `announce` is told the address once the port is taken. Raises UsageError.
    """
    taken = opened_port(port)
    app = make_site(book)
    config = uvicorn.Config(
        app,
        log_level="warning",
        ws="none",
        proxy_headers=False,
        server_header=False,
        limit_concurrency=_PEOPLE,
        timeout_graceful_shutdown=3,
    )
    announce(f"http://{HOST}:{taken.getsockname()[1]}/")
    threading.Thread(target=_warm, args=(app,), daemon=True).start()
    with taken, suppress(KeyboardInterrupt):
        uvicorn.Server(config).run(sockets=[taken])


def _warm(app: Starlette) -> None:
    # A book that cannot be read tells so on the first page.
    with suppress(ShearboltError):
        warm(app)
