"""The chosen lots and their containers, looked at before the first charge."""

from __future__ import annotations

import dataclasses
import datetime
from typing import Final

from django.db import transaction

from batches.models import Batch, ContainerWeighing
from batches.services import planning, sources
from batches.services.planning import PlanLine
from producer.errors import Refusal
from producer.models import Material, Stock, StockMovement
from producer.services.checks import local_day

# A tin of potash is weighed when it is opened; so long before the first charge it may
# have been. Common practice, no source.
LATELY: Final = datetime.timedelta(hours=24)


@dataclasses.dataclass(frozen=True, kw_only=True)
class LotFound:
    """A line of the plan: what is to be weighed, from what, and what stops it."""

    name: str
    source: Stock | None
    trouble: str = ""
    remark: str = ""


@dataclasses.dataclass(frozen=True, kw_only=True)
class LotsFound:
    """Every line of the plan, and whether nothing stops it."""

    lines: list[LotFound]

    @property
    def in_order(self) -> bool:
        """Say whether each line has a lot that may be used."""
        return not any(line.trouble for line in self.lines)

    @property
    def words(self) -> str:
        """What was found, as a sentence for the record."""
        if not self.in_order:
            return " ".join(line.trouble for line in self.lines if line.trouble)
        codes = ", ".join(
            f"{line.name} {line.source.code}" for line in self.lines if line.source
        )
        remarks = [line.remark for line in self.lines if line.remark]
        good = f"Released and in date: {codes}." if codes else "No lot is needed."
        return " ".join([good, *remarks])


def look_at(batch: Batch, at: datetime.datetime) -> LotsFound:
    """Return what there is to say of the lots of a batch at a time.

    Each line has a lot, but in a rework, released and in date on the local day; an
    opened tin of potash was weighed since it was last taken from, and not long ago. One
    that gained is on hold, so it is not released.
    """
    with transaction.atomic():  # what is looked at is locked, so that it stays so
        return LotsFound(
            lines=[_line(batch, line, at) for line in planning.plan_of(batch).lines]
        )


def _line(batch: Batch, line: PlanLine, at: datetime.datetime) -> LotFound:
    if line.source is None:
        # A rework leaves out what the rejected batch brings along: potash, water.
        is_needed = not line.charged_mg and not batch.is_rework
        trouble = f"No lot is chosen for {line.name}." if is_needed else ""
        return LotFound(name=line.name, source=None, trouble=trouble)
    try:
        sources.check_source(
            batch=batch, line=line.line, source=line.source, on=local_day(at)
        )
    except Refusal as refusal:
        return LotFound(name=line.name, source=line.source, trouble=refusal.message)
    if line.kind != Material.Kind.POTASH:
        return LotFound(name=line.name, source=line.source)
    return _potash(line.name, line.source, at)


def _potash(name: str, source: Stock, at: datetime.datetime) -> LotFound:
    draws = StockMovement.objects.filter(stock=source, kind=StockMovement.Kind.DRAW)
    last_draw = draws.order_by("-observed_at").first()
    if last_draw is None:
        return LotFound(
            name=name,
            source=source,
            remark=f"{source.code} is opened for the first time.",
        )
    since = max(last_draw.observed_at, at - LATELY)
    weighed = (
        ContainerWeighing.objects.current()
        .filter(stock=source, observed_at__gte=since)
        .order_by("-observed_at")
        .first()
    )
    if weighed is not None:
        return LotFound(name=name, source=source, remark=weighed.sentence)
    return LotFound(
        name=name,
        source=source,
        trouble=(
            f"{source.code} has been opened before: weigh its container on the page of"
            " the lot first. Potash takes water from the air and shows it on the scale."
        ),
    )
