"""The demo's story, told once for many tests that only look at it."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from pathlib import Path

from django.db import transaction
from django.test import override_settings
from pytest_django import DjangoDbBlocker

from quality.demo import story


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
            story.tell(
                logins=directory / "logins.json",
                say=lambda _line: None,
                chapters=story.CHAPTERS[:chapters],
            )
        yield


@contextlib.contextmanager
def rolled_back() -> Iterator[None]:
    """Undo in the end whatever is done inside."""
    with transaction.atomic():
        yield
        transaction.set_rollback(True)
