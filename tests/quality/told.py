"""The demo's story, told once for many tests that only look at it."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from pathlib import Path

from django.conf import settings
from django.test import override_settings
from pytest_django import DjangoDbBlocker

from quality.demo import story
from tests.database import rolled_back
from tests.once import once


@contextlib.contextmanager
def told(
    blocker: DjangoDbBlocker, directory: Path, chapters: int = len(story.CHAPTERS)
) -> Iterator[None]:
    """Tell so many chapters in a transaction that is rolled back at the end.

    For fixtures wider than one test, whose tests must not ask for ``db``: that closes
    the connection behind each test, and the transaction with it. Uploads and the
    passwords are in ``directory``.
    """
    with blocker.unblock(), rolled_back():
        with override_settings(DATA_DIR=directory, MEDIA_ROOT=directory / "uploads"):
            passwords = _told(chapters)
            (directory / "logins.json").write_text(passwords, encoding="utf-8")
        yield


@once
def _told(chapters: int) -> str:
    """Tell them to an empty book; return the passwords of those who may sign in."""
    logins = Path(settings.DATA_DIR) / "passwords.json"
    story.tell(
        logins=logins, say=lambda _line: None, chapters=story.CHAPTERS[:chapters]
    )
    return logins.read_text(encoding="utf-8")
