"""System checks of ours: what a way of running means, in plain words.

The errors hold always; the warnings come with ``check --deploy``, which ``serve`` runs.
``serve`` says the warnings and serves: what they tell of is for the owner to decide.
"""

from __future__ import annotations

import os
import stat
from collections.abc import Sequence
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from django.apps import AppConfig
from django.conf import settings
from django.core import checks

# Names under which a computer reaches itself and nobody else does.
LOOPBACK = {"localhost", "127.0.0.1", "::1", "[::1]"}


@checks.register(checks.Tags.security)
def public_address(
    app_configs: Sequence[AppConfig] | None, **options: Any
) -> list[checks.CheckMessage]:
    """Refuse an address that no QR code could lead to."""
    address = urlsplit(settings.PUBLIC_URL)
    is_whole = address.scheme in {"http", "https"} and address.hostname
    if is_whole and not (address.path or address.query or address.fragment):
        return []
    return [
        checks.Error(
            f"KETTLEBOOK_URL is “{settings.PUBLIC_URL}”. It must be a whole address"
            " without a path, because it is printed on every bottle.",
            hint="Like https://kettle.example or http://kettle.lan:8000.",
            id="kettlebook.E001",
        )
    ]


@checks.register(checks.Tags.security, deploy=True)
def plain_http(
    app_configs: Sequence[AppConfig] | None, **options: Any
) -> list[checks.CheckMessage]:
    """Warn when others can reach the site and nothing is encrypted.

    Not on this computer alone, where nothing crosses a network.
    """
    others = [host for host in settings.ALLOWED_HOSTS if host not in LOOPBACK]
    if urlsplit(settings.PUBLIC_URL).scheme == "https" or not others:
        return []
    return [
        checks.Warning(
            f"Kettlebook answers to {', '.join(others)} by plain HTTP: whoever is on"
            " the same network can read passwords and records on their way, and change"
            " them.",
            hint="Put a proxy with TLS in front and set KETTLEBOOK_URL=https://….",
            id="kettlebook.W001",
        )
    ]


@checks.register(checks.Tags.security, deploy=True)
def private_records(
    app_configs: Sequence[AppConfig] | None, **options: Any
) -> list[checks.CheckMessage]:
    """Warn when other accounts of this computer can look into the records."""
    directory = Path(settings.DATA_DIR)
    if os.name != "posix" or not directory.exists():
        return []
    if not stat.S_IMODE(directory.stat().st_mode) & 0o077:
        return []
    return [
        checks.Warning(
            f"Other accounts of this computer can look into {directory}, where records,"
            " uploads and the secret key are kept.",
            hint=f"Type: chmod 700 {directory}",
            id="kettlebook.W002",
        )
    ]


@checks.register(checks.Tags.security, deploy=True)
def records_outside_the_code(
    app_configs: Sequence[AppConfig] | None, **options: Any
) -> list[checks.CheckMessage]:
    """Warn when replacing the program would take the records with it."""
    directory = Path(settings.DATA_DIR).resolve()
    if settings.IS_DEMO or not directory.is_relative_to(settings.BASE_DIR):
        return []
    return [
        checks.Warning(
            f"Records are kept in {directory}, inside the program's own directory: a"
            " new version copied over it could take them with it.",
            hint="Move the directory elsewhere and name it with KETTLEBOOK_DATA.",
            id="kettlebook.W003",
        )
    ]


@checks.register(checks.Tags.database, deploy=True)
def standby_of_nothing(
    app_configs: Sequence[AppConfig] | None, **options: Any
) -> list[checks.CheckMessage]:
    """Warn when a standby is named and none can be read."""
    if not os.environ.get("DATABASE_READ_URL") or settings.READS in settings.DATABASES:
        return []
    return [
        checks.Warning(
            "DATABASE_READ_URL is set, but DATABASE_URL names no PostgreSQL that it"
            " could be the standby of. It is left aside.",
            hint="See producer/papers/two_machines.md.",
            id="kettlebook.W010",
        )
    ]
