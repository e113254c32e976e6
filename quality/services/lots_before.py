"""The chosen lots and their containers, looked at before the first charge."""

from __future__ import annotations

import dataclasses
import datetime

from django.db import transaction

from batches.models import Batch
from batches.services import planning, potash_gain, sources
from batches.services.planning import PlanLine
from producer.errors import Refusal
from producer.models import Container, Material, Stock
from producer.services.checks import local_day
from producer.services.container_books import containers_of, outside_mg


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
    return _potash(batch, line.name, line.source, at)


def _potash(batch: Batch, name: str, source: Stock, at: datetime.datetime) -> LotFound:
    """Return what there is to say of a lot of potash; each opened tin counts.

    Which tin is drawn from is known at its charge, which is held to the same. Here one
    weighed or unopened tin is enough, for the lot.
    """
    rows = containers_of(source.lot)
    tins: list[Container | None] = [one for one in rows if one.book_mg > 0]
    if not tins or outside_mg(source, rows) > 0:
        tins.append(None)
    for tin in tins:
        weighed = potash_gain.weighed_lately(batch, source, tin, at)
        if weighed is not None:
            return LotFound(name=name, source=source, remark=weighed.sentence)
    for tin in tins:
        if potash_gain.is_unopened(batch, source, tin, at):
            code = tin.code if tin else source.code
            return LotFound(
                name=name,
                source=source,
                remark=f"{code} is opened for the first time.",
            )
    return LotFound(
        name=name, source=source, trouble=potash_gain.words_for(source.code)
    )
