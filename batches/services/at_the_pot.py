"""What stands at the pot: the next step, how long ago was read, what was entered."""

from __future__ import annotations

import dataclasses
import datetime
from collections.abc import Mapping, Sequence
from decimal import Decimal

from django.utils import timezone

from batches.excursions import Excursion
from batches.lifecycle import AT_THE_POT, BatchStatus
from batches.models import Batch, Formula, HoldPoint, Reading
from batches.services import hold_points, planning, sources
from batches.services.entries import Entries, Entry, standing
from batches.services.excursions import excursions_of, temperatures_of
from batches.services.tare_question import is_impossible
from producer.models import Material
from producer.services.checks import local_day

# A pot that cooks is read at least so often; common practice, no source.
READ_EVERY = datetime.timedelta(minutes=15)
SHOWN = 6  # entries in the strip

LOTS, HOLD_POINTS, YIELD, FINISH = "lots", "hold_points", "yield", "finish"
CAME_OUT = "came_out"  # it was weighed, and is looked at again
TEMPERATURE = Reading.Characteristic.TEMPERATURE.value
CLARITY = Reading.Characteristic.CLARITY.value
PH = Reading.Characteristic.PH.value
_POTASH = Material.Kind.POTASH.value


@dataclasses.dataclass(frozen=True, kw_only=True)
class Line:
    """An entry in the strip: the row, its kind, and whether it counts no more.

    ``of`` is what a row takes back, and ``odd`` says in a few words what is not as it
    should be; of what the formula's limits say the page knows more.
    """

    row: Entry
    kind: str
    is_struck: bool = False
    of: Entry | None = None
    odd: str = ""


@dataclasses.dataclass(frozen=True, kw_only=True)
class Pot:
    """A batch as it stands at the pot.

    ``next`` is the slug of the one thing to do next, empty when nothing is left.
    ``read_since`` is from when the time without a temperature counts, None unless it
    is cooking; ``excursion`` is the one that has not been seen to end. ``blocked`` says
    by stock why nothing may be drawn of what was chosen for a line, or begun with.
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
    blocked: Mapping[int, str]
    is_impossible: bool

    @property
    def potash_is_in(self) -> bool:
        """Say whether potash is in the pot: no water is poured onto it."""
        return any(line.charged_mg for line in self.plan.lines if line.kind == _POTASH)

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
    open_points = hold_points.not_passed(batch, points, timezone.now())
    following = next_step(batch, plan, entries, open_points)
    temperatures = temperatures_of(entries)
    last = temperatures[-1] if temperatures else None
    lines = _lines(batch, entries)
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
        blocked=_blocked(plan, entries),
        is_impossible=is_impossible(entries),
    )


def _blocked(plan: planning.Plan, entries: Entries) -> dict[int, str]:
    """Return by stock why nothing may be drawn of it now, of those that are needed."""
    needed = [
        line.source for line in plan.lines if line.source and planning.is_short(line)
    ]
    needed += [start.source for start in entries.open_starts]
    if not needed:
        return {}
    today = local_day(timezone.now())
    why = {stock.pk: sources.why_not(stock, today) for stock in needed}
    return {pk: sentence for pk, sentence in why.items() if sentence}


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
    short = [line for line in plan.lines if planning.is_short(line)]
    return min(short, key=lambda line: line.kind == Material.Kind.POTASH, default=None)


def _after_the_charges(batch: Batch, entries: Entries) -> str:
    """Return what the results since the last charge leave to do.

    A cook is cooked until a portion is clear, then its pH is taken; a pH from before a
    portion that was not clear is taken again, because it was cooked on.
    """
    if entries.weighing is not None:
        return CAME_OUT if is_impossible(entries) else FINISH
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


def _lines(batch: Batch, entries: Entries) -> list[Line]:
    """Return a line for each entry, the newest first; hold points of one act as one."""
    superseded = {
        (row._meta.model_name, row.supersedes_id)
        for row in entries
        if row.supersedes_id is not None
    }
    known = {(row._meta.model_name or "", row.pk): row for row in entries}
    limit = batch.formula_version.temperature_limit
    not_in_order = {row.observed_at for row in entries.hold_points if not row.in_order}
    acts: set[datetime.datetime] = set()
    lines = []
    for row in entries:
        kind = row._meta.model_name or ""
        if isinstance(row, HoldPoint):
            if row.observed_at in acts:
                continue
            acts.add(row.observed_at)
        is_struck = row.is_void or (kind, row.pk) in superseded
        former = row.supersedes_id if row.is_void else None
        of = None if former is None else known.get((kind, former))
        odd = ""
        if isinstance(row, HoldPoint):
            odd = "not in order" if row.observed_at in not_in_order else ""
        elif isinstance(row, Reading) and not row.is_void:
            odd = _odd_reading(row, limit)
        lines.append(Line(row=row, kind=kind, is_struck=is_struck, of=of, odd=odd))
    return sorted(
        lines, key=lambda line: (line.row.entered_at, line.row.pk), reverse=True
    )


def _odd_reading(row: Reading, limit: Decimal) -> str:
    if row.characteristic == CLARITY:
        return "" if row.clarity == Reading.Clarity.CLEAR else "not clear"
    if row.characteristic == TEMPERATURE and row.value is not None:
        return "above the limit" if row.value > limit else ""
    return ""
