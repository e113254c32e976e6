"""Potash that was opened: weighed before it is drawn from, so that a gain is seen.

It takes water and carbon dioxide from the air and shows it on the scale. So what was
opened before is weighed since it was last drawn from and not long ago; unless it is
weighed before and after in the very charge, which then is that weighing.
"""

from __future__ import annotations

import datetime
from typing import Final

from django.db.models import Q, QuerySet

from batches.models import Batch, Charge, ContainerWeighing, WeighingStart
from batches.services import containers
from batches.services.gains import HOLD_WORDS
from batches.services.hold_points import minute_of, stop_unless_looked_at
from producer.errors import Refusal
from producer.models import Container, Material, Stock, StockMovement

# So long before the charge it may have been weighed. Common practice, no source.
LATELY: Final = datetime.timedelta(hours=24)
_A_MINUTE = datetime.timedelta(minutes=1)


def is_potash(source: Stock) -> bool:
    """Say whether a stock is a lot of potash."""
    return (
        source.kind == Stock.Kind.LOT
        and source.lot.material.kind == Material.Kind.POTASH
    )


def is_unopened(
    batch: Batch, source: Stock, container: Container | None, at: datetime.datetime
) -> bool:
    """Say whether a lot, or this container of it, is opened for the first time now.

    What the same batch took lately was opened for it: it stands at the pot.
    """
    return _last_draw(batch, source, container, at) is None and (
        container is None
        or container.opened_at is None
        or (container.opened_at >= at - LATELY and _draws(source, container).exists())
    )


def weighed_lately(
    batch: Batch, source: Stock, container: Container | None, at: datetime.datetime
) -> ContainerWeighing | None:
    """Return the last weighing since it was last drawn from, and not long ago.

    Of this container or of all of the lot together. What the same batch drew lately
    does not count: one weighing is enough for potash weighed in a few portions.
    """
    last = _last_draw(batch, source, container, at)
    since = max(last, at - LATELY) if last else at - LATELY
    rows = ContainerWeighing.objects.current().filter(
        stock=source,
        observed_at__gte=since,
        observed_at__lt=minute_of(at) + _A_MINUTE,  # times are typed by the minute
    )
    own = Q(container=None) | (Q(container=container) if container else Q())
    return rows.filter(own).order_by("-observed_at").first()


def stop_unless_weighed(row: Charge | WeighingStart, *, before_mg: int) -> None:
    """Refuse potash of another lot than was looked at, and what may have gained.

    ``before_mg`` is what the container showed before, where it is weighed by
    difference: that is held against its book, and what is heavier is refused, so that
    it is weighed on the page of the lot, which puts it on hold. A correction, which no
    line asks for, has no lot that was looked at.
    """
    if not is_potash(row.source):
        return
    if row.line_id is not None:
        stop_unless_looked_at(row.batch, row.source)
    where = (row.batch, row.source, row.container, row.observed_at)
    if weighed_lately(*where) is not None:
        return
    if row.by_difference and row.container is not None:
        _has_not_gained(row, row.container, before_mg)
    elif not is_unopened(*where):
        name = row.container.code if row.container else row.source.code
        raise Refusal(words_for(name), field="container" if row.container else "source")


def words_for(name: str) -> str:
    """Say that this was opened before, and what to do."""
    return (
        f"{name} has been opened before: weigh its container on the page of the lot"
        " first. Potash takes water from the air and shows it on the scale."
    )


def _has_not_gained(
    row: Charge | WeighingStart, container: Container, before_mg: int
) -> None:
    said = containers.said_of(
        by=row.entered_by,
        lot=row.source.lot,
        container=container,
        scale=row.scale,
        gross_mg=before_mg,
        observed_at=row.observed_at,
    )
    if said.startswith(HOLD_WORDS):
        raise Refusal(
            f"{said} Record that weighing on the page of the lot: it puts the lot on"
            " hold. Until it is decided, take another lot.",
            field="gross_mg",
        )


def _draws(source: Stock, container: Container | None) -> QuerySet[StockMovement]:
    rows = StockMovement.objects.filter(stock=source, kind=StockMovement.Kind.DRAW)
    return rows.filter(container=container) if container else rows


def _last_draw(
    batch: Batch, source: Stock, container: Container | None, at: datetime.datetime
) -> datetime.datetime | None:
    """Return when it was last drawn from, but for what this batch took lately."""
    own = Q(purpose=batch.number, observed_at__gte=at - LATELY)
    last = _draws(source, container).exclude(own).order_by("-observed_at").first()
    return last.observed_at if last else None
