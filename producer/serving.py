"""Serve the site by waitress, a WSGI server that runs wherever Python does."""

from __future__ import annotations

import os
import socket
from collections.abc import Callable
from urllib.parse import urlsplit

from django.conf import settings
from django.core.management import CommandError, call_command
from django.core.wsgi import get_wsgi_application
from waitress import create_server

THREADS = 8
PORTS_TRIED = 50


def require_free_port(address: str, port: int) -> None:
    """Raise :class:`CommandError` with a sentence if the port cannot be had."""
    problem = _problem(address, port)
    if problem is None:
        return
    free = next(
        (
            other
            for other in range(port + 1, min(port + PORTS_TRIED, 65_536))
            if _problem(address, other) is None
        ),
        None,
    )
    advice = f" Type the command again with --port {free}." if free else ""
    raise CommandError(f"Port {port} on {address} cannot be used: {problem}.{advice}")


def prepare() -> None:
    """Bring the database and the static files up to date."""
    call_command("migrate", verbosity=0, interactive=False)
    call_command("collectstatic", verbosity=0, interactive=False)


def serve(address: str, port: int, *, announce: Callable[[], None]) -> None:
    """Serve until Ctrl-C; ``announce`` is called when requests can come in."""
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
        **proxy,
    )
    announce()
    try:
        server.run()
    except KeyboardInterrupt:
        pass
    finally:
        server.close()


def _problem(address: str, port: int) -> str | None:
    if not 0 < port < 65_536:  # noqa: PLR2004 - ports are 16-bit numbers
        return "a port lies between 1 and 65535"
    family = socket.AF_INET6 if ":" in address else socket.AF_INET
    with socket.socket(family, socket.SOCK_STREAM) as probe:
        if os.name == "posix":
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((address, port))
        except PermissionError:
            return "ports below 1024 belong to the administrator"
        except socket.gaierror:
            return "this computer does not know that address"
        except OSError:
            return "something else is using it"
    return None
