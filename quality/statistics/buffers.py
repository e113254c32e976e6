"""What pH a buffer has at a temperature: two sets that must not be mixed.

Decimal, because a table value is a decimal and is compared with a reading. The standard
set is that of the NIST formulae as JIS Z 8802:2011 tabulates it: phthalate, neutral
phosphate, borate, carbonate. The technical set is what bottles labelled 4.00, 7.00 and
10.01 hold; its 7.00 is another solution than the 6.86 of the standard set. Between two
temperatures of the table a straight line is taken; outside it nothing is said.

>>> buffer_ph(BufferSet.TECHNICAL, "10.01", Decimal(20))
Decimal('10.06')
>>> buffer_ph(BufferSet.STANDARD, "6.86", Decimal("22.5"))
Decimal('6.870')
"""

from __future__ import annotations

import enum
from collections.abc import Mapping
from decimal import Decimal
from typing import Final

from quality.statistics.errors import OutsideTableError

PLACES: Final = Decimal("0.001")


class BufferSet(enum.StrEnum):
    """Which table a buffer belongs to."""

    TECHNICAL = "technical"
    STANDARD = "standard"

    @property
    def label(self) -> str:
        """What to look for on the bottle."""
        return _LABELS[self]


_LABELS = {
    BufferSet.TECHNICAL: "technical buffers: 4.00, 7.00, 10.01",
    BufferSet.STANDARD: "standard (NIST, JIS) buffers: 4.01, 6.86, 9.18, 10.02",
}

Table = Mapping[int, Decimal]


def _table(text: str) -> Table:
    pairs = (pair.split(":") for pair in text.split())
    return {int(degrees): Decimal(ph) for degrees, ph in pairs}


# JIS Z 8802 as confirmed in 2011, as printed by an instrument maker (HORIBA). There the
# carbonate values at 5, 15, 20, 30 and 35 °C stand in brackets.
_STANDARD: Final[Mapping[str, Table]] = {
    "4.01": _table(
        "0:4.01 5:4.01 10:4.00 15:4.00 20:4.00 25:4.01 30:4.01 35:4.02 40:4.03 45:4.04"
        " 50:4.06"
    ),
    "6.86": _table(
        "0:6.98 5:6.95 10:6.92 15:6.90 20:6.88 25:6.86 30:6.85 35:6.84 40:6.84 45:6.83"
        " 50:6.83"
    ),
    "9.18": _table(
        "0:9.46 5:9.39 10:9.33 15:9.27 20:9.22 25:9.18 30:9.14 35:9.10 40:9.07 45:9.04"
        " 50:9.01"
    ),
    "10.02": _table(
        "0:10.32 5:10.25 10:10.18 15:10.12 20:10.07 25:10.02 30:9.97 35:9.93 38:9.91"
    ),
}

# Foxboro MI 611-211 (October 2005), Table 7: 0.05 M phthalate; 0.041 M disodium and
# 0.026 M potassium phosphate; 0.025 M carbonate and bicarbonate.
_TECHNICAL: Final[Mapping[str, Table]] = {
    "4.00": _table(
        "0:4.00 5:4.00 10:4.00 15:4.00 20:4.00 25:4.00 30:4.01 35:4.02 40:4.03 45:4.04"
        " 50:4.06"
    ),
    "7.00": _table(
        "0:7.12 5:7.09 10:7.06 15:7.04 20:7.02 25:7.00 30:6.99 35:6.99 40:6.98 45:6.98"
        " 50:6.97"
    ),
    "10.01": _table(
        "0:10.32 5:10.25 10:10.18 15:10.12 20:10.06 25:10.01 30:9.97 35:9.93 40:9.89"
        " 45:9.86 50:9.83"
    ),
}

TABLES: Final[Mapping[BufferSet, Mapping[str, Table]]] = {
    BufferSet.TECHNICAL: _TECHNICAL,
    BufferSet.STANDARD: _STANDARD,
}


def buffer_ph(which: BufferSet, name: str, temperature: Decimal) -> Decimal:
    """Return the pH of the buffer ``name`` of a set at ``temperature`` in °C.

    Raises :class:`OutsideTableError` for a buffer that the set does not have, and for
    a temperature outside the table.

    >>> buffer_ph(BufferSet.STANDARD, "7.00", Decimal(25))
    Traceback (most recent call last):
    quality.statistics.errors.OutsideTableError: There is no buffer 7.00 in this set: \
it has 4.01, 6.86, 9.18, 10.02. Read the bottle; the two sets are different solutions.
    """
    buffers = TABLES[which]
    if name not in buffers:
        raise OutsideTableError(
            f"There is no buffer {name} in this set: it has {', '.join(buffers)}. Read"
            " the bottle; the two sets are different solutions."
        )
    return _between(buffers[name], name, temperature)


def _between(table: Table, name: str, temperature: Decimal) -> Decimal:
    first, last = min(table), max(table)
    if not first <= temperature <= last:
        raise OutsideTableError(
            f"The table of buffer {name} goes from {first} to {last} °C. Bring the"
            " buffer to room temperature and read it again."
        )
    below = max(degrees for degrees in table if degrees <= temperature)
    if below == temperature:
        return table[below]
    above = min(degrees for degrees in table if degrees > temperature)
    share = (temperature - below) / (above - below)
    return (table[below] + share * (table[above] - table[below])).quantize(PLACES)
