"""What a clock on the wall shows, in a night in which it is put forward or back.

Pure: datetimes in, datetimes out. The rules of the zones come from the IANA time zone
database, by way of ``zoneinfo``. A time is *passed over* when the clock is put forward
across it, and *shown twice* when it is put back across it; what ``fold`` means for
either is PEP 495.
"""

from __future__ import annotations

import datetime

from producer.errors import Refusal


def moments_of(
    shown: datetime.datetime, zone: datetime.tzinfo
) -> list[datetime.datetime]:
    """Return each moment, in UTC and in order, at which a clock there shows ``shown``.

    One on every ordinary day, none for a time that is passed over, two for one that
    is shown twice. Worked examples by hand: in the European Union summer time ends at
    01:00 UTC on the last Sunday of October and begins at 01:00 UTC on the last Sunday
    of March (Directive 2000/84/EC, articles 2 and 3, from memory), so a clock in Berlin
    shows 02:30 at 00:30 UTC and again at 01:30 UTC.

    >>> from zoneinfo import ZoneInfo
    >>> berlin = ZoneInfo("Europe/Berlin")
    >>> back = datetime.datetime(2026, 10, 25, 2, 30)
    >>> [f"{one:%H:%M}" for one in moments_of(back, berlin)]
    ['00:30', '01:30']
    >>> moments_of(datetime.datetime(2026, 3, 29, 2, 30), berlin)
    []
    """
    found = []
    for fold in (0, 1):
        at = shown.replace(tzinfo=zone, fold=fold).astimezone(datetime.UTC)
        is_shown = at.astimezone(zone).replace(tzinfo=None, fold=0) == shown
        if is_shown and at not in found:
            found.append(at)
    return found


def moment_of(
    shown: datetime.datetime, zone: datetime.tzinfo, *, offset: str = ""
) -> datetime.datetime:
    """Return the one moment meant, in UTC; ``offset`` says which of two, as “+02:00”.

    An offset that is not one of the two is no answer to the question. Refuses, with a
    sentence that says what to do, a time that is passed over and one that is shown
    twice while nothing says which.

    >>> from zoneinfo import ZoneInfo
    >>> back = datetime.datetime(2026, 10, 25, 2, 30)
    >>> f"{moment_of(back, ZoneInfo('Europe/Berlin'), offset='+01:00'):%H:%M}"
    '01:30'
    """
    found = moments_of(shown, zone)
    meant = [at for at in found if offset_of(at.astimezone(zone)) == offset]
    if len(found) == 1 or meant:
        return (meant or found)[0]
    if found:
        raise Refusal(
            f"The clock on the wall showed {in_words(shown)} twice, because it was put"
            " back. Choose below which of the two it was."
        )
    later = shown.replace(tzinfo=zone).astimezone(datetime.UTC).astimezone(zone)
    raise Refusal(
        f"The clock on the wall never showed {in_words(shown)}: it was put forward past"
        f" it. A clock not put forward yet that shows {shown:%H:%M} means"
        f" {later:%H:%M}; write that."
    )


def offset_of(local: datetime.datetime) -> str:
    """Return how far a local time is ahead of UTC, as it is printed beside it.

    >>> from zoneinfo import ZoneInfo
    >>> offset_of(datetime.datetime(2026, 7, 1, tzinfo=ZoneInfo("Europe/Berlin")))
    '+02:00'
    """
    offset = local.strftime("%z")
    return f"{offset[:3]}:{offset[3:5]}"


def on_the_wall(local: datetime.datetime) -> str:
    """Return the hour and minute of a local time; of one shown twice, with its offset.

    >>> from zoneinfo import ZoneInfo
    >>> first = datetime.datetime(2026, 10, 25, 2, 30, tzinfo=ZoneInfo("Europe/Berlin"))
    >>> on_the_wall(first), on_the_wall(first.replace(hour=5))
    ('02:30 +02:00', '05:30')
    """
    shown = local.replace(tzinfo=None, fold=0)
    zone = local.tzinfo or datetime.UTC
    is_twice = len(moments_of(shown, zone)) > 1
    return f"{local:%H:%M} {offset_of(local)}" if is_twice else f"{local:%H:%M}"


def in_words(shown: datetime.datetime) -> str:
    """Return a time and its day as a sentence says them.

    >>> in_words(datetime.datetime(2026, 10, 25, 2, 30))
    '02:30 on 25 Oct 2026'
    """
    return f"{shown:%H:%M} on {shown.day} {shown:%b %Y}"
