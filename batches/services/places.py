"""Where bottles stand: put on a shelf, and how many of what there are on each."""

from __future__ import annotations

import dataclasses
import uuid
from collections.abc import Sequence

from django.db import transaction
from django.db.models import Count
from django.utils import timezone

from batches.lifecycle import BottleStatus
from batches.models import Bottle, BottleEvent, FillingLot
from producer import journal, written
from producer.codes import grouped
from producer.errors import Conflict, Refusal
from producer.models import Place, Right, User
from producer.services.checks import require

# A bottle in one of these states stands somewhere on the premises.
HERE = (
    BottleStatus.FILLED,
    BottleStatus.ON_HOLD,
    BottleStatus.RETAINED,
    BottleStatus.RETURNED,
    BottleStatus.RECOVERED,
)
PIECE = 500


@transaction.atomic
def put(
    *,
    by: User,
    bottles: Sequence[Bottle],
    place: Place,
    note: str = "",
    submission: uuid.UUID | None = None,
) -> int:
    """Record that bottles that are here stand in a place now; return how many."""
    require(by, Right.MAKER)
    journal.in_line()
    if not bottles:
        raise Refusal("Choose at least one bottle.", field="codes")
    if not place.in_use:
        raise Refusal(f"{place.name} is not in use any more.", field="place")
    now = list(Bottle.objects.filter(pk__in=[bottle.pk for bottle in bottles]))
    for bottle in now:
        if bottle.status not in HERE:
            raise Refusal(
                f"Bottle {grouped(bottle.code)} is"
                f" {BottleStatus(bottle.status).label}, so it stands nowhere here.",
                field="codes",
            )
    moved = [bottle for bottle in now if bottle.place_id != place.pk]
    if not moved:
        raise Refusal(f"They stand in {place.name} already.", field="place")
    before = {bottle.place_id for bottle in moved}
    _move(by, moved, place, note.strip())
    journal.write(
        by=by,
        act="bottles put in a place",
        subject=place,
        label=place.name,
        before={"places": sorted(str(pk) for pk in before if pk is not None)},
        after={"bottles": [bottle.code for bottle in moved], "note": note.strip()},
        submission=submission,
    )
    return len(moved)


def _move(by: User, bottles: Sequence[Bottle], place: Place, note: str) -> None:
    ids = [bottle.pk for bottle in bottles]
    for start in range(0, len(ids), PIECE):
        piece = ids[start : start + PIECE]
        changed = Bottle.objects.filter(pk__in=piece, status__in=HERE)
        if changed.update(place=place) != len(piece):
            raise Conflict("One of these bottles left a moment ago. Look again.")
    at = timezone.now()
    for bottle in bottles:
        written.note(bottle)
    written.create_all(
        BottleEvent,
        (
            BottleEvent(
                bottle=bottle,
                old=bottle.status,
                new=bottle.status,
                place=place,
                reason=note,
                observed_at=at,
                entered_by=by,
            )
            for bottle in bottles
        ),
    )


@dataclasses.dataclass(frozen=True, kw_only=True)
class Standing:
    """How many bottles of a filling lot stand in a place, in one state."""

    place: str
    lot: FillingLot
    status: str
    bottles: int

    @property
    def status_label(self) -> str:
        """The words for the state."""
        return BottleStatus(self.status).label


NOWHERE = "no place recorded"


def stock_by_place() -> list[Standing]:
    """Return what stands where: places by name, the earliest use-by date first."""
    counted = (
        Bottle.objects.filter(status__in=HERE)
        .values("place__name", "filling_lot", "status")
        .annotate(bottles=Count("pk"))
    )
    rows = list(counted)
    lots = FillingLot.objects.select_related(
        "batch__stock", "batch__formula_version"
    ).in_bulk({row["filling_lot"] for row in rows})
    found = [
        Standing(
            place=row["place__name"] or NOWHERE,
            lot=lots[row["filling_lot"]],
            status=row["status"],
            bottles=row["bottles"],
        )
        for row in rows
    ]
    return sorted(
        found,
        key=lambda one: (
            one.place == NOWHERE,
            one.place,
            one.lot.use_by,
            one.lot.pk,
            one.status,
        ),
    )
