"""Lots of indicator: which one may still be titrated with."""

from __future__ import annotations

import datetime

from producer.errors import Refusal
from producer.models import Instrument
from producer.services.checks import local_day


def still_good(
    indicator: Instrument | None, at: datetime.datetime
) -> Instrument | None:
    """Return the lot of indicator of a titration if it was good on that local day.

    None where none was named: the kind of titration says what it was then.
    """
    if indicator is None:
        return None
    if indicator.kind != Instrument.Kind.INDICATOR:
        raise Refusal(
            f"{indicator.name} is a {indicator.get_kind_display()}, not a lot of"
            " indicator.",
            field="indicator",
        )
    last = indicator.good_until
    if last is not None and indicator.is_expired(local_day(at)):
        raise Refusal(
            f"{indicator.name} was good until {last:%d %b %Y}. Open a new lot and"
            " titrate with it.",
            field="indicator",
        )
    return indicator
