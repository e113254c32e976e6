"""What an entry of the register of instruments may say, by its kind."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from decimal import Decimal
from typing import Final

from django.utils import timezone

from producer.errors import Refusal
from producer.models import Instrument
from producer.services.checks import local_day

Kind = Instrument.Kind
READ_FROM: Final = frozenset(
    {Kind.SCALE, Kind.THERMOMETER, Kind.PH_METER, Kind.PH_STRIPS}
)
CHECKED: Final = frozenset({Kind.SCALE, Kind.THERMOMETER, Kind.PH_METER})
STANDS_FOR: Final = frozenset({Kind.CHECK_WEIGHT, Kind.BUFFER})
OPENED: Final = frozenset({Kind.PH_STRIPS, Kind.BUFFER, Kind.INDICATOR})
MOST_PH: Final = Decimal(14)

# Field → the kinds it is for, whether it says something, and what to do if it does on
# another kind.
_FIELDS: Final[
    Mapping[str, tuple[frozenset[Instrument.Kind], Callable[[Instrument], bool], str]]
] = {
    "resolution": (
        READ_FROM,
        lambda entry: bool(entry.resolution),
        "Nothing is read from it. Write 0 as its smallest step.",
    ),
    "capacity": (
        frozenset({Kind.SCALE}),
        lambda entry: entry.capacity is not None,
        "Only a scale has a largest load. Leave it empty.",
    ),
    "nominal": (
        STANDS_FOR,
        lambda entry: entry.nominal is not None,
        "Only a check weight or a lot of buffer stands for a value. Leave it empty.",
    ),
    "check_every_days": (
        CHECKED,
        lambda entry: entry.check_every_days is not None,
        "Only scales, thermometers and pH meters are checked. Leave it empty.",
    ),
    "opened_on": (
        OPENED,
        lambda entry: entry.opened_on is not None,
        "Only strips, buffer and indicator are opened. Leave it empty.",
    ),
    "days_after_opening": (
        OPENED,
        lambda entry: entry.days_after_opening is not None,
        "Only strips, buffer and indicator are opened. Leave it empty.",
    ),
}


def check_fields(entry: Instrument) -> None:
    """Refuse what does not fit the kind of an instrument, with what to do instead."""
    for field, (kinds, says, advice) in _FIELDS.items():
        if entry.kind not in kinds and says(entry):
            raise Refusal(advice, field=field)
    if entry.check_every_days == 0:
        raise Refusal(
            "At least 1 day; leave it empty if nothing is to remind you.",
            field="check_every_days",
        )
    if entry.kind == Kind.BUFFER and (entry.nominal or 0) > MOST_PH:
        raise Refusal(
            "This is the pH of the buffer at 25 °C, from 0 to 14.", field="nominal"
        )
    if entry.opened_on is not None and entry.opened_on > local_day(timezone.now()):
        raise Refusal(
            "This day is still to come. Write the day on which it was opened, or leave"
            " it empty.",
            field="opened_on",
        )
