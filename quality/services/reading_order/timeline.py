"""Every entry of a batch in the order in which it happened, and what was corrected."""

from __future__ import annotations

import dataclasses
import datetime

from batches.models import (
    BulkWeighing,
    Charge,
    HoldPoint,
    LiquidReading,
    Loss,
    Reading,
    Titration,
    Transcription,
    WeighingStart,
)
from batches.services.cooking.charging import is_correction
from batches.services.entries import Entries, Entry
from batches.services.portion_books import code_of
from producer.models import Instrument
from producer.quantities import format_mass, format_number

# Both times are shown where they differ by more: a kitchen clock, a walk to the desk.
APART = datetime.timedelta(minutes=15)
# What stands on paper is copied within a day; common practice, no source.
LATE = datetime.timedelta(hours=24)
MINUTES = 60  # in an hour
TAKEN_BACK = "taken back"


@dataclasses.dataclass(frozen=True, kw_only=True)
class Event:
    """One entry: what it is, its figures in words, what it was read from.

    ``code`` is the raw lot or batch it came from, else empty; ``words`` has every
    figure of the entry; ``is_struck`` says that it counts no more.
    """

    row: Entry
    anchor: str
    what: str
    code: str
    words: str
    instrument: Instrument | None
    is_struck: bool

    @property
    def former(self) -> str:
        """The place of the entry that this one corrects, or nothing."""
        return _former(self.row) if self.row.supersedes_id is not None else ""

    @property
    def note(self) -> str:
        """What was written beside it, besides a reason."""
        return self.row.note if isinstance(self.row, Loss | HoldPoint) else ""

    @property
    def paper(self) -> Transcription | None:
        """The paper sheet it was copied from, or None."""
        if isinstance(self.row, Titration | LiquidReading):
            return None
        return self.row.transcription

    @property
    def title(self) -> str:
        """What it is, at the head of a sentence; pH keeps its small p."""
        return (
            self.what
            if self.what.startswith("pH")
            else self.what[0].upper() + self.what[1:]
        )

    @property
    def is_apart(self) -> bool:
        """Say whether it was entered so long after or before that both times matter."""
        return abs(self.row.entered_at - self.row.observed_at) > APART

    @property
    def is_late(self) -> bool:
        """Say whether it was first entered so long after it happened that it counts.

        More than a quarter of an hour; from paper, which is told by itself, a day. A
        correction keeps the time of what it corrects, so it is never late.
        """
        if self.row.supersedes_id is not None:
            return False
        return self.waited >= LATE if self.paper else self.waited > APART

    @property
    def waited(self) -> datetime.timedelta:
        """How long after it happened it was entered."""
        return self.row.entered_at - self.row.observed_at

    @property
    def waited_words(self) -> str:
        """The same in words: minutes, hours and minutes, or from two days on days."""
        if self.waited >= 2 * LATE:
            return f"{self.waited.days} days"
        hours, minutes = divmod(
            int(self.waited / datetime.timedelta(minutes=1)), MINUTES
        )
        return f"{hours} h {minutes} min" if hours else f"{minutes} min"

    @property
    def is_ahead(self) -> bool:
        """Say whether it was entered before it happened, by the clock of a device."""
        return self.row.observed_at - self.row.entered_at > APART


@dataclasses.dataclass(frozen=True, kw_only=True)
class Corrected:
    """An entry and what took its place."""

    old: Event
    new: Event


def anchor_of(row: Entry) -> str:
    """Return the name of the place of an entry on the page, such as “charge-12”."""
    return f"{row._meta.model_name}-{row.pk}"


def timeline(entries: Entries, *, mark: str = ".") -> list[Event]:
    """Return every entry, the superseded too, by the clock on the wall."""
    superseded = {_former(row) for row in entries if row.supersedes_id is not None}
    events = [_event(row, superseded, mark) for row in entries]
    return sorted(
        events, key=lambda one: (one.row.observed_at, one.row.entered_at, one.row.pk)
    )


def corrections_in(events: list[Event]) -> list[Corrected]:
    """Return each correction with what it corrected, in the order of entry."""
    by_anchor = {event.anchor: event for event in events}
    found = [
        Corrected(old=by_anchor[event.former], new=event)
        for event in events
        if event.row.supersedes_id is not None
    ]
    return sorted(found, key=lambda one: one.new.row.entered_at)


def _former(row: Entry) -> str:
    return f"{row._meta.model_name}-{row.supersedes_id}"


def _event(row: Entry, superseded: set[str], mark: str) -> Event:
    what, code, words = _told(row, mark)
    return Event(
        row=row,
        anchor=anchor_of(row),
        what=what,
        code=code,
        words=TAKEN_BACK if row.is_void else words,
        instrument=instrument_of(row),
        is_struck=row.is_void or anchor_of(row) in superseded,
    )


def instrument_of(row: Entry) -> Instrument | None:
    """Return what an entry was weighed on or read from; a loss has no instrument.

    A hold point has one where it looked at one: the scale, the empty vessel.
    """
    if isinstance(row, Loss):
        return None
    if isinstance(row, Reading | LiquidReading):
        return row.instrument
    return row.scale


def _told(row: Entry, mark: str) -> tuple[str, str, str]:
    """Return what an entry is, the code it came from, and its figures in words."""
    if isinstance(row, Charge):
        return _charge(row, mark)
    if isinstance(row, WeighingStart):
        return _begun(row, mark)
    what, words = _of_no_code(row, mark)
    return what, "", words


def _of_no_code(
    row: BulkWeighing | Reading | Loss | Titration | HoldPoint | LiquidReading,
    mark: str,
) -> tuple[str, str]:
    if isinstance(row, BulkWeighing):
        return "weighing of the yield", _weighed(row, mark)
    if isinstance(row, Reading):
        return row.get_characteristic_display(), _reading(row, mark)
    if isinstance(row, Loss):
        return f"loss: {row.get_kind_display()}", _loss(row, mark)
    if isinstance(row, HoldPoint):
        return f"hold point: {row.get_point_display()}", _looked(row)
    if isinstance(row, LiquidReading):
        return row.get_kind_display(), liquid_in_words(row, mark=mark)
    return f"titration: {row.get_kind_display()}", _titration(row)


def _charge(row: Charge, mark: str) -> tuple[str, str, str]:
    source = row.source
    lot = getattr(source, "lot", None)
    what = "correction with" if is_correction(row) else "charge of"
    name = lot.material.name if lot else "a batch"
    words = how_weighed(row)
    return (
        f"{what} {name}",
        source.code,
        "; ".join([_weighed(row, mark), *([words] if words else [])]),
    )


def how_weighed(row: Charge) -> str:
    """Return how a charge was weighed, beyond its figures; nothing if plainly."""
    parts = []
    if row.by_difference:
        parts.append("by the container before and after")
    if row.container is not None:
        parts.append(f"from container {row.container.code}")
    if row.portion is not None:
        parts.append(f"from portion {code_of(row.portion)}")
    if row.vessel is not None:
        parts.append(f"in {row.vessel.name}")
    if row.passed_over:
        parts.append(f"a lot that expires earlier was left: {row.passed_over}")
    return "; ".join(parts)


def _begun(row: WeighingStart, mark: str) -> tuple[str, str, str]:
    lot = getattr(row.source, "lot", None)
    first = "container before" if row.by_difference else "tare"
    words = f"{first} {format_mass(row.first_mg, mark=mark)}"
    if row.vessel is not None:
        words += f", {row.vessel.name}"
    name = lot.material.name if lot else "a batch"
    return f"weighing begun: {name}", row.source.code, words


def _looked(row: HoldPoint) -> str:
    said = "in order" if row.in_order else "NOT in order"
    return f"{said}: {row.found}" if row.found else said


def _weighed(row: Charge | BulkWeighing, mark: str) -> str:
    gross, tare, net = (
        format_mass(mg, mark=mark) for mg in (row.gross_mg, row.tare_mg, row.net_mg)
    )
    if isinstance(row, Charge) and row.by_difference:
        return f"{net} net: before {gross}, after {tare}"
    return f"{net} net: gross {gross}, tare {tare}"


def _reading(row: Reading, mark: str) -> str:
    if row.value is None:
        return row.get_clarity_display()
    shown = format_number(row.value, mark=mark)
    if row.characteristic == Reading.Characteristic.TEMPERATURE:
        return f"{shown} °C"
    return f"{shown}; {row.method}" if row.method else shown


def liquid_in_words(row: LiquidReading, *, mark: str = ".") -> str:
    """Return a hardness or a density with ±, temperature and method."""
    if row.value is None:
        return TAKEN_BACK
    unit = "mmol/l" if row.kind == LiquidReading.Kind.HARDNESS else "g/ml"
    shown = format_number(row.value.normalize(), mark=mark)
    if row.half_width:
        shown += f" ± {format_number(row.half_width.normalize(), mark=mark)}"
    shown += f" {unit}"
    if row.temperature is not None:
        shown += f" at {format_number(row.temperature.normalize(), mark=mark)} °C"
    return f"{shown}; {row.method}" if row.method else shown


def _loss(row: Loss, mark: str) -> str:
    mass = format_mass(row.mass_mg, mark=mark)
    if not row.half_width_mg:
        return mass
    return f"{mass} ± {format_mass(row.half_width_mg, mark=mark)}"


def _titration(row: Titration) -> str:
    return row.sentence
