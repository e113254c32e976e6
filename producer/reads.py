"""Which database is asked: the standby by pages that only look, else the primary.

Only where ``DATABASE_READ_URL`` names a standby; without it there is no router and
nothing here is in the way. A view that only shows says :func:`only_looks`. Within it
rows are read from the standby, unless a transaction has begun: an act that decides
walks the genealogy inside its own, so it never reads from anywhere but the primary.
Whatever is written goes to the primary, always.

A bottle page must warn of a recall as soon as it is opened. So the standby is read only
while it is proven to have all that was ever acknowledged (:class:`_Look`): after a
standby was away, for instance, until it has caught up.
"""

from __future__ import annotations

import contextlib
import contextvars
import functools
import threading
import time
from collections.abc import Callable, Iterable, Iterator
from typing import Any, ParamSpec, TypeVar, cast

from django.conf import settings
from django.db import DEFAULT_DB_ALIAS, Error, connections, models
from django.http import HttpResponseBase, StreamingHttpResponse

READS: str = settings.READS
LOOKED_AT_EVERY = 5  # seconds; within them a standby given up on purpose may be read on
# Seconds that a look gives the standby to replay what is on its way to it. While much
# is written something always is, and to call that behind would leave visitors with
# nothing if the primary died just then.
ON_ITS_WAY, LOOKED_AGAIN_AFTER = 0.5, 0.02

P = ParamSpec("P")
Response = TypeVar("Response", bound=HttpResponseBase)

_looking: contextvars.ContextVar[bool] = contextvars.ContextVar(
    "looking", default=False
)

# From the moment a standby is named and waited for, what is acknowledged is seen there;
# what was acknowledged before, once it has replayed up to here.
_AT_THE_PRIMARY = """
SELECT current_setting('synchronous_standby_names') <> ''
  AND current_setting('synchronous_commit') = 'remote_apply',
CASE WHEN NOT pg_is_in_recovery() THEN CAST(pg_current_wal_flush_lsn() AS text) END
"""
_AT_THE_STANDBY = """
SELECT pg_is_in_recovery(), pg_last_wal_replay_lsn() >= CAST(%s AS pg_lsn)
"""


def is_there() -> bool:
    """Say whether a standby was named at all."""
    return READS in connections.settings


def alias() -> str:
    """Return the database that a reading query is to ask now."""
    if not _looking.get() or connections[DEFAULT_DB_ALIAS].in_atomic_block:
        return DEFAULT_DB_ALIAS
    return READS


@contextlib.contextmanager
def looking() -> Iterator[None]:
    """Read from the standby inside, if there is one and it has everything."""
    if not is_there() or not _look.is_current():
        yield
        return
    token = _looking.set(True)
    try:
        yield
    finally:
        _looking.reset(token)


def only_looks(view: Callable[P, Response]) -> Callable[P, Response]:
    """Let a view that only shows read from the standby.

    Innermost of its decorators: who somebody is and what they may is asked of the
    primary. A file that is sent bit by bit is read from where it was begun.
    """

    @functools.wraps(view)
    def looks(*args: P.args, **kwargs: P.kwargs) -> Response:
        with looking():
            response = view(*args, **kwargs)
            if _looking.get() and isinstance(response, StreamingHttpResponse):
                content = cast("Iterable[bytes]", response.streaming_content)
                response.streaming_content = _bit_by_bit(
                    content, contextvars.copy_context()
                )
            return response

    return looks


def _bit_by_bit(content: Iterable[bytes], here: contextvars.Context) -> Iterator[bytes]:
    bits = iter(content)
    while (bit := here.run(next, bits, None)) is not None:
        yield bit


class Router:
    """Django's questions, answered as above."""

    def db_for_read(self, model: type[models.Model], **_: Any) -> str:
        """Return where rows of a model are read.

        Never nothing: Django would then read what belongs to a row from where that
        row came from, in a transaction too.
        """
        return alias()

    def db_for_write(self, model: type[models.Model], **_: Any) -> str:
        """Return the primary."""
        return DEFAULT_DB_ALIAS

    def allow_relation(self, one: models.Model, other: models.Model, **_: Any) -> bool:
        """Both are the same records."""
        return True

    def allow_migrate(self, db: str, app_label: str, **_: Any) -> bool | None:
        """Lay no tables on the standby; it gets them as it gets everything."""
        return False if db == READS else None


class _Look:
    """The last look at both machines, and what it found.

    While the primary is away the last answer stands: nothing can be acknowledged that
    is not on the standby, and bottle pages go on being read from there. Where the
    standby is away or has become the primary, the primary is read.
    """

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._at = -float("inf")
        self._is_current = False

    def is_current(self) -> bool:
        """Say whether what was acknowledged is on the standby; look now and then."""
        if (
            time.monotonic() - self._at >= LOOKED_AT_EVERY
            # One thread looks; to the others the last answer is good enough.
            and self._lock.acquire(blocking=False)
        ):
            try:
                self._is_current = self._compare()
                self._at = time.monotonic()
            finally:
                self._lock.release()
        return self._is_current

    def forget(self) -> None:
        """Look anew the next time."""
        self._at = -float("inf")

    def _compare(self) -> bool:
        try:
            is_waited_for, place = _ask(DEFAULT_DB_ALIAS, _AT_THE_PRIMARY)
        except Error:
            return self._is_current
        if not is_waited_for or place is None:
            return False
        end = time.monotonic() + ON_ITS_WAY
        try:
            is_standby, has_all = _ask(READS, _AT_THE_STANDBY, place)
            while is_standby and not has_all and time.monotonic() < end:
                time.sleep(LOOKED_AGAIN_AFTER)
                is_standby, has_all = _ask(READS, _AT_THE_STANDBY, place)
        except Error:
            return False
        return bool(is_standby and (has_all or self._died_with_it()))

    def _died_with_it(self) -> bool:
        """Say whether the primary is gone since, with what the standby lacks.

        Nobody was told that it is recorded, so the last answer stands.
        """
        try:
            _ask(DEFAULT_DB_ALIAS, "SELECT 1")
        except Error:
            return self._is_current
        return False


def _ask(alias: str, sql: str, *values: str) -> Any:
    """Return the one row; close a connection that is broken, for the next time."""
    try:
        with connections[alias].cursor() as cursor:
            cursor.execute(sql, values)
            return cursor.fetchone()
    except Error:
        connections[alias].close()
        raise


_look = _Look()
