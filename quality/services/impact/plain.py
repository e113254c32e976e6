"""What a failed instrument, or a bad lot of strips, means: plain data."""

from __future__ import annotations

import dataclasses
import datetime
from collections.abc import Sequence
from decimal import Decimal
from typing import Final

from producer.models import Instrument, Record
from quality.models import InstrumentCheck
from quality.services.references import REFERENCES

PERCENT: Final = 100


@dataclasses.dataclass(frozen=True, kw_only=True)
class Doubt:
    """From when to when an instrument is in doubt, and by how much it was off.

    ``check`` is the failed check that was off most; None for strips, which are not
    checked. ``since`` is the last good check before it and None where there is none,
    ``until`` the first good one after it and None while it has not passed again; it
    was entered at ``until_entered``. ``failed`` are the failed checks in between, and
    ``entered_late`` the good ones that count for nothing, because they were not entered
    in the order in which they are dated: see :func:`.doubts_in`.
    ``error`` is what the check showed too much, in ``unit``; for strips half a step and
    their ±. ``share`` is that error as a share of the check weight, for a scale.
    """

    instrument: Instrument
    check: InstrumentCheck | None
    since: datetime.datetime | None
    until: datetime.datetime | None
    error: Decimal
    unit: str
    share: Decimal = Decimal(0)
    until_entered: datetime.datetime | None = None
    failed: Sequence[InstrumentCheck] = ()
    entered_late: Sequence[InstrumentCheck] = ()

    def covers(self, row: Record) -> bool:
        """Say whether what an instrument showed lies in that time, by either clock.

        What was on record before the good check was entered is not freed by it, however
        that check is dated.
        """
        if self.since is not None and row.observed_at < self.since:
            return False
        if self.until is None or row.observed_at <= self.until:
            return True
        return self.until_entered is not None and row.entered_at <= self.until_entered

    @property
    def is_scale(self) -> bool:
        """Say whether masses are in doubt."""
        return self.instrument.kind == Instrument.Kind.SCALE

    @property
    def is_reference(self) -> bool:
        """Say whether it is a check weight, a buffer or an indicator."""
        return self.instrument.kind in REFERENCES

    @property
    def is_indicator(self) -> bool:
        """Say whether it is a lot of indicator."""
        return self.instrument.kind == Instrument.Kind.INDICATOR

    @property
    def is_strips(self) -> bool:
        """Say whether it is a lot of strips."""
        return self.instrument.kind == Instrument.Kind.PH_STRIPS

    @property
    def is_thermometer(self) -> bool:
        """Say whether temperatures are in doubt."""
        return self.instrument.kind == Instrument.Kind.THERMOMETER

    @property
    def percent(self) -> Decimal:
        """The share in percent."""
        return self.share * PERCENT

    @property
    def size(self) -> Decimal:
        """The error without its sign."""
        return abs(self.error)


@dataclasses.dataclass(frozen=True, kw_only=True)
class Taken:
    """A result taken with an instrument in doubt.

    ``effect`` is by how much it may show too much, in the unit of the value (of a pH in
    either direction), None where nobody knows; ``alkali`` what the excess alkali of the
    batch changes by if that is taken off, in grams of KOH, above zero where there is
    more than the record says.
    ``limits`` are what it is held against and ``margin`` how far inside it lies, below
    zero outside; ``crosses`` says that the effect can carry it across.
    """

    stock_id: int
    code: str
    page: str
    what: str
    at: datetime.datetime
    value: Decimal
    unit: str
    effect: Decimal | None
    alkali: Decimal | None = None
    limits: str = ""
    margin: Decimal | None = None
    crosses: bool = False

    @property
    def corrected(self) -> Decimal | None:
        """The value less what it may show too much."""
        return None if self.effect is None else self.value - self.effect

    @property
    def percent(self) -> Decimal | None:
        """The effect in percent of the value."""
        if self.effect is None or not self.value:
            return None
        return self.effect / self.value * PERCENT


@dataclasses.dataclass(frozen=True, kw_only=True)
class Touched:
    """A raw lot or batch with a result in doubt, or made from one that has.

    ``alkali`` is what the excess alkali changes by, in grams of KOH, if every charge in
    doubt was off alike, above zero where there is more than the record says;
    ``alkali_alone`` the largest change by a single charge; both also in percent of what
    the batch made. Bottles are its own.
    """

    stock_id: int
    code: str
    page: str
    name: str
    status: str
    status_words: str
    on_hand_mg: int
    results: int
    crossing: int
    bottles_here: int = 0
    bottles_out: int = 0
    alkali: Decimal | None = None
    alkali_alone: Decimal | None = None
    made_g: Decimal | None = None

    @property
    def alkali_percent(self) -> Decimal | None:
        """The change of excess alkali in percent of what the batch made."""
        return self._percent(self.alkali)

    @property
    def alkali_alone_percent(self) -> Decimal | None:
        """The largest change by a single charge, in percent of what it made."""
        return self._percent(self.alkali_alone)

    def _percent(self, grams: Decimal | None) -> Decimal | None:
        if grams is None or not self.made_g:
            return None
        return grams / self.made_g * PERCENT


@dataclasses.dataclass(frozen=True, kw_only=True)
class Impact:
    """Everything that depends on an instrument in doubt.

    ``checks`` are those that were made with it, of a check weight or a buffer.
    """

    doubt: Doubt
    results: list[Taken]
    touched: list[Touched]
    checks: Sequence[InstrumentCheck] = ()

    @property
    def crossing(self) -> int:
        """How many results the effect can carry across a limit."""
        return sum(one.crosses for one in self.results)

    @property
    def bottles_out(self) -> int:
        """How many bottles somebody else has."""
        return sum(one.bottles_out for one in self.touched)

    @property
    def bottles_here(self) -> int:
        """How many bottles are still here."""
        return sum(one.bottles_here for one in self.touched)
