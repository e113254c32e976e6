"""What stands at the pot: the next step, how long ago was read, what was entered."""

from __future__ import annotations

import dataclasses
import datetime
from collections.abc import Mapping, Sequence

from batches.excursions import Excursion
from batches.lifecycle import BatchStatus
from batches.models import Batch, Formula, HoldPoint, Reading
from batches.services import planning
from batches.services.entries import Entries, Entry, standing
from batches.services.excursions import excursions_of, temperatures_of
from producer.models import Material

# A pot that cooks is read at least so often; common practice, no source.
READ_EVERY = datetime.timedelta(minutes=15)
SHOWN = 6  # entries in the strip

LOTS, HOLD_POINTS, YIELD, FINISH = "lots", "hold_points", "yield", "finish"
TEMPERATURE = Reading.Characteristic.TEMPERATURE.value
CLARITY = Reading.Characteristic.CLARITY.value
PH = Reading.Characteristic.PH.value
AT_THE_POT = {BatchStatus.PLANNED, BatchStatus.IN_PROCESS}


@dataclasses.dataclass(frozen=True, kw_only=True)
class Line:
    """An entry in the strip: the row, its kind, and whether it counts no more."""

    row: Entry
    kind: str
    is_struck: bool = False


@dataclasses.dataclass(frozen=True, kw_only=True)
class Pot:
    """A batch as it stands at the pot.

    ``next`` is the slug of the one thing to do next, empty when nothing is left.
    ``read_since`` is from when the time without a temperature counts, None unless it
    is cooking; ``excursion`` is the one that has not been seen to end.
    """

    batch: Batch
    plan: planning.Plan
    entries: Entries
    next: str
    points: Mapping[str, HoldPoint]
    open_points: Sequence[HoldPoint.Point]
    last_temperature: Reading | None
    read_since: datetime.datetime | None
    excursions: list[Excursion]
    lines: list[Line]
    count: int

    @property
    def excursion(self) -> Excursion | None:
        """The excursion that goes on, by the last reading."""
        last = self.excursions[-1] if self.excursions else None
        return last if last is not None and last.end is None else None

    def is_unread(self, now: datetime.datetime) -> bool:
        """Say whether no temperature was read for too long while it cooks."""
        return self.read_since is not None and now - self.read_since > READ_EVERY


def pot_of(batch: Batch) -> Pot:
    """Return how a batch stands at the pot; each table is asked once."""
    plan, entries = planning.plan_of(batch), Entries(batch)
    points = {row.point: row for row in standing(entries.hold_points)}
    open_points = [
        one for one in HoldPoint.Point if one not in points or not points[one].in_order
    ]
    following = next_step(batch, plan, entries, open_points)
    temperatures = temperatures_of(entries)
    last = temperatures[-1] if temperatures else None
    lines = _lines(entries)
    return Pot(
        batch=batch,
        plan=plan,
        entries=entries,
        next=following,
        points=points,
        open_points=open_points,
        last_temperature=last,
        read_since=_read_since(batch, entries, following, last),
        excursions=excursions_of(batch, entries),
        lines=lines[:SHOWN],
        count=len(lines),
    )


def charge_step(position: int) -> str:
    """Return the slug of weighing a line in: ``charge-3``."""
    return f"charge-{position}"


def start_step(pk: int) -> str:
    """Return the slug of finishing a weighing that was begun: ``start-7``."""
    return f"start-{pk}"


def next_step(
    batch: Batch,
    plan: planning.Plan,
    entries: Entries,
    open_points: Sequence[HoldPoint.Point],
) -> str:
    """Return the slug of the one thing to do next; nothing once it is finished.

    In the order of section 1.3 of the requirements: lots, hold points, what was begun,
    charges with the potash last, cook, clarity and pH at its end, what came out.
    """
    if batch.status not in AT_THE_POT:
        return ""
    if any(not line.source and not line.charged_mg for line in plan.lines):
        return LOTS
    if batch.status == BatchStatus.PLANNED and open_points:
        return HOLD_POINTS
    if entries.open_starts:
        return start_step(entries.open_starts[0].pk)
    if line := line_to_weigh(plan):
        return charge_step(line.line.position)
    return _after_the_charges(batch, entries)


def line_to_weigh(plan: planning.Plan) -> planning.PlanLine | None:
    """Return the line to weigh next; potash last, the oils decide how much of it."""
    short = [line for line in plan.lines if is_short(line)]
    return min(short, key=lambda line: line.kind == Material.Kind.POTASH, default=None)


def is_short(line: planning.PlanLine) -> bool:
    """Say whether a line still lacks more than a tenth of what is to be weighed."""
    if line.target_mg is None:
        return not line.charged_mg
    return line.charged_mg * 10 < line.target_mg * 9


def _after_the_charges(batch: Batch, entries: Entries) -> str:
    """Return what the results since the last charge leave to do.

    A cook is cooked until a portion is clear, then its pH is taken; a pH from before a
    portion that was not clear is taken again, because it was cooked on.
    """
    if entries.weighing is not None:
        return FINISH
    since = _last_charge_at(entries)
    results = [
        row
        for row in standing(entries.readings)
        if since is None or row.observed_at >= since
    ]
    looks = [row for row in results if row.characteristic == CLARITY]
    values = [row for row in results if row.characteristic == PH]
    if batch.kind == Formula.Kind.COOK:
        if not looks:
            return CLARITY if values else TEMPERATURE
        if looks[-1].clarity != Reading.Clarity.CLEAR:
            return TEMPERATURE
    unclear = [row for row in looks if row.clarity != Reading.Clarity.CLEAR]
    if not values or (unclear and values[-1].observed_at < unclear[-1].observed_at):
        return PH
    return YIELD


def _last_charge_at(entries: Entries) -> datetime.datetime | None:
    return max((row.observed_at for row in entries.standing_charges), default=None)


def _read_since(
    batch: Batch, entries: Entries, following: str, last: Reading | None
) -> datetime.datetime | None:
    """Return since when no temperature was read, while a cook stands on the heat."""
    on_the_heat = following in {TEMPERATURE, CLARITY, PH}
    charged_at = _last_charge_at(entries)
    if batch.kind != Formula.Kind.COOK or not on_the_heat or charged_at is None:
        return None
    return max(charged_at, last.observed_at) if last else charged_at


def _lines(entries: Entries) -> list[Line]:
    """Return a line for each entry, the newest first; hold points of one act as one."""
    superseded = {
        (row._meta.model_name, row.supersedes_id)
        for row in entries
        if row.supersedes_id is not None
    }
    acts: set[datetime.datetime] = set()
    lines = []
    for row in entries:
        kind = row._meta.model_name or ""
        if isinstance(row, HoldPoint):
            if row.observed_at in acts:
                continue
            acts.add(row.observed_at)
        is_struck = row.is_void or (kind, row.pk) in superseded
        lines.append(Line(row=row, kind=kind, is_struck=is_struck))
    return sorted(
        lines, key=lambda line: (line.row.entered_at, line.row.pk), reverse=True
    )
