"""A clock that can be set, so that the demo's history happens in the past."""

from __future__ import annotations

import contextlib
import datetime
import zoneinfo
from collections.abc import Iterator

from django.utils import timezone

TICK = datetime.timedelta(milliseconds=50)


class Clock:
    """The time as the demo's people read it off the wall; it only runs forwards.

    The journal's rows stand in the order in which they were written, so the story is
    told in the order in which it happened: setting the clock back is a mistake.
    """

    def __init__(self, today: datetime.date, zone: zoneinfo.ZoneInfo) -> None:
        self._today = today
        self._zone = zone
        self._now = datetime.datetime.min.replace(tzinfo=datetime.UTC)

    def set(self, days_ago: int, time: str) -> datetime.datetime:
        """Go to a wall time such as “09:30”, so many days before today."""
        moment = self.at(days_ago, time)
        if moment < self._now:
            raise ValueError(f"The demo's clock runs forwards; {moment} is before now.")
        self._now = moment
        return moment

    def at(self, days_ago: int, time: str) -> datetime.datetime:
        """Return a wall time so many days before today, without going there."""
        wall = datetime.time.fromisoformat(time)
        return datetime.datetime.combine(self.day(days_ago), wall, self._zone)

    def day(self, days_ago: int) -> datetime.date:
        """Return the calendar day so many days before today (after it, if negative)."""
        return self._today - datetime.timedelta(days=days_ago)

    def wait(self, minutes: float) -> datetime.datetime:
        """Let some minutes pass."""
        self._now += datetime.timedelta(minutes=minutes)
        return self._now

    def now(self) -> datetime.datetime:
        """Return the time; each look at the clock takes a moment, as in life."""
        self._now += TICK
        return self._now.astimezone(datetime.UTC)

    @contextlib.contextmanager
    def running(self) -> Iterator[None]:
        """Make this the clock of the whole program.

        The services stamp every row with the server's time, and rightly take no other
        from outside. For a history of months there is one way that does not weaken
        them: change what time it is. Only the demo's loader does so, in a process of
        its own that serves nobody meanwhile.
        """
        real = timezone.now
        timezone.now = self.now
        try:
            yield
        finally:
            timezone.now = real
