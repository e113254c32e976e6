"""When an entry was written down: now, unless a device kept it or it was settled later.

An entry that waited on a device was written when the device took it, not when it came.
What may be used is judged by that moment, beside the one at which it was done.
"""

from __future__ import annotations

import contextlib
import contextvars
import datetime
from collections.abc import Iterator

from django.utils import timezone

_written: contextvars.ContextVar[datetime.datetime | None] = contextvars.ContextVar(
    "written", default=None
)


@contextlib.contextmanager
def written(at: datetime.datetime) -> Iterator[None]:
    """Let what is entered inside have been written down at this moment."""
    token = _written.set(at)
    try:
        yield
    finally:
        _written.reset(token)


def written_at() -> datetime.datetime:
    """Return when the entry under way was written down; never later than now."""
    now = timezone.now()
    return min(_written.get() or now, now)
