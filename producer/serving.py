"""Serve the site by waitress, a WSGI server that runs wherever Python does."""

from __future__ import annotations

import contextlib
import errno
import os
import signal
import socket
from collections.abc import Callable, Iterator
from types import FrameType
from urllib.parse import urlsplit

from django.conf import settings
from django.core.management import CommandError, call_command
from django.core.wsgi import get_wsgi_application
from django.db import OperationalError
from waitress import create_server

from producer import baseline
from producer.machine import explain

THREADS = 8
PORTS_TRIED = 50
LAST_PORT = 65_535
WILDCARDS = {"", "0.0.0.0", "::"}  # noqa: S104 - named here to be refused


def require_free_port(address: str, port: int) -> None:
    """Raise :class:`CommandError` with a sentence if the port cannot be had."""
    if not 0 < port <= LAST_PORT:
        raise CommandError(
            f"{port} is no port; ports lie between 1 and {LAST_PORT}. Type the command"
            " again with --port 8000."
        )
    fault = _fault(address, port)
    if fault is None:
        return
    if fault == errno.EADDRINUSE:
        reason = "something else is using it"
    elif fault in {errno.EACCES, errno.EPERM}:
        reason = "ports below 1024 belong to the administrator"
    else:
        raise CommandError(
            f"{address} is not an address of this computer. Type the command again with"
            " --address and one that is, or without it."
        )
    raise CommandError(
        f"Port {port} on {address} cannot be used: {reason}.{_advice(address, port)}"
    )


def prepare() -> int:
    """Bring the database and the static files up to date.

    Returns how many rows of an older version the journal keeps from now on.
    """
    call_command("migrate", verbosity=0, interactive=False)
    call_command("collectstatic", verbosity=0, interactive=False)
    return baseline.keep()


@contextlib.contextmanager
def explained() -> Iterator[None]:
    """Turn a full disk or a database out of reach into a sentence."""
    try:
        yield
    except OSError as error:
        raise CommandError(explain(error)) from error
    except OperationalError as error:
        raise CommandError(_explain_database(error)) from error


def serve(address: str, port: int, *, announce: Callable[[], None]) -> None:
    """Serve until Ctrl-C or SIGTERM; ``announce`` is called when requests can come."""
    proxy = {}
    if urlsplit(settings.PUBLIC_URL).scheme == "https":
        # Only behind a proxy that we were told of do its headers count.
        proxy = {
            "trusted_proxy": os.environ.get("KETTLEBOOK_PROXY", "127.0.0.1"),
            "trusted_proxy_headers": "x-forwarded-for x-forwarded-proto",
            "trusted_proxy_count": 1,
            "clear_untrusted_proxy_headers": True,
        }
    server = create_server(
        get_wsgi_application(),
        host=address,
        port=port,
        threads=THREADS,
        ident=None,
        # Half-sent requests must not keep everybody else out, nor fill the disk.
        connection_limit=1000,
        channel_timeout=30,
        max_request_body_size=settings.DATA_UPLOAD_MAX_MEMORY_SIZE,
        **proxy,
    )
    signal.signal(signal.SIGTERM, _leave)
    try:
        announce()
        server.run()
    except KeyboardInterrupt:
        pass
    finally:
        server.close()


def _leave(_signal: int, _frame: FrameType | None) -> None:
    # Ends waitress's loop; requests under way get their answer.
    raise KeyboardInterrupt


def _explain_database(error: OperationalError) -> str:
    words = str(error).strip()
    if "disk is full" in words or "No space left" in words:
        return explain(OSError(errno.ENOSPC, words, str(settings.DATA_DIR)))
    if "readonly database" in words or "unable to open database" in words:
        return explain(OSError(errno.EACCES, words, str(settings.DATA_DIR)))
    if "database is locked" in words:
        return (
            f"Another program keeps the records in {settings.DATA_DIR} locked. Stop it,"
            " then repeat the command."
        )
    return (
        f"The database cannot be used: {words}\nSee that it runs and that DATABASE_URL"
        " is right, then repeat the command."
    )


def _advice(address: str, port: int) -> str:
    first = max(port + 1, 1024)
    for other in range(first, min(first + PORTS_TRIED, LAST_PORT)):
        if _fault(address, other) is None:
            return f" Type the command again with --port {other}."
    return " Type the command again with another --port."


def _fault(address: str, port: int) -> int | None:
    """Return why the system refuses the port, as an ``errno``; None if it does not."""
    family = socket.AF_INET6 if ":" in address else socket.AF_INET
    with socket.socket(family, socket.SOCK_STREAM) as probe:
        if os.name == "posix":
            # What waitress sets too: a port just left is free.
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((address, port))
            probe.listen(1)
        except OSError as error:  # also a name that nobody knows
            return error.errno
    return None
