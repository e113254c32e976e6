"""Which lot is taken next, and what others mean to use of it.

Nothing of this is stored: what a lot is meant for follows from the lots that the open
batches have chosen and from what is still to be weighed there.
"""

from __future__ import annotations

import dataclasses
import datetime
from collections import defaultdict
from collections.abc import Iterable, Mapping

from django.db.models import F, Q, QuerySet, Sum

from batches.first_expired import Candidate, passed_over
from batches.lifecycle import AT_THE_POT, BatchStatus
from batches.models import (
    Batch,
    BulkWeighing,
    Charge,
    Formula,
    FormulaLine,
    LotChoice,
)
from batches.services import planning
from producer.models import RawLot, Stock
from producer.models.lots import last_day_of
from producer.quantities import format_mass

_TENTHS_WEIGHED = 9  # of ten; then a line counts as weighed, as on the batch's page


@dataclasses.dataclass(frozen=True, kw_only=True)
class Meant:
    """How much of a stock an open batch means to use, and which batch."""

    number: str
    mass_mg: int


def offered(line: FormulaLine, on: datetime.date) -> QuerySet[Stock]:
    """Return the stocks that may serve a line on a day, the one to take first first.

    Lots first expired first, of one date the older receipt first; batches the oldest
    first.
    """
    if line.material is not None:
        lots = RawLot.objects.usable(on).filter(material=line.material)
        found = Q(pk__in=lots.order_by().values("pk"))
    else:
        made = Batch.objects.filter(status=BatchStatus.RELEASED)
        found = Q(
            pk__in=made.filter(formula_version__formula__used_in_lines=line).values(
                "pk"
            )
        )
    return (
        Stock.objects.filter(found, on_hand_mg__gt=0)
        .select_related("lot__material", "lot__supplier")
        .order_by(
            last_day_of("lot__").asc(nulls_last=True),
            F("lot__received_on").asc(nulls_last=True),
            "pk",
        )
    )


def proposed(line: FormulaLine, on: datetime.date) -> list[Stock]:
    """Return the lots for a line in the order in which they are to be taken."""
    return list(offered(line, on))


def needs_reason(
    *,
    batch: Batch,
    line: FormulaLine | None,
    source: Stock,
    net_mg: int,
    on: datetime.date,
) -> RawLot | None:
    """Return the lot that a charge would pass over without a reason, or None.

    That is a lot of the same material, usable on that day and there by then, which
    is to be used earlier and of which enough is free. Asked once for each source in a
    batch: what was begun from may be gone on with.
    """
    if line is None or line.material_id is None:
        return None
    usable = RawLot.objects.usable(on).filter(
        material_id=line.material_id, received_on__lte=on
    )
    lots = {lot.pk: lot for lot in usable}
    chosen = lots.get(source.pk) or RawLot.objects.listed().get(pk=source.pk)
    as_held = {pk: _candidate(lot, free_mg=net_mg) for pk, lot in lots.items()}
    wanted = _candidate(chosen, free_mg=0)
    if passed_over(as_held.values(), wanted, net_mg) is None:
        return None  # nothing is to be used earlier: no need to count
    drawn = Charge.objects.current().filter(batch=batch, source=source)
    if drawn.exists():
        return None
    meant = reserved_mg([lot.stock for lot in lots.values()], besides=batch)
    free = [
        _candidate(lot, free_mg=lot.stock.on_hand_mg - meant.get(pk, 0))
        for pk, lot in lots.items()
    ]
    found = passed_over(free, wanted, net_mg)
    return None if found is None else lots[found.key]


def words_for(left: RawLot, chosen: Stock) -> str:
    """Return the sentence that asks why a lot is passed over."""
    lot = RawLot.objects.get(pk=chosen.pk)
    then = "has no date" if lot.last_day is None else f"{lot.last_day:%d %b %Y}"
    ends = "expires" if left.last_day == left.expires_on else "is due for retest"
    return (
        f"{left.code} {ends} on {left.last_day:%d %b %Y}, before {chosen.code}"
        f" ({then}), and holds {format_mass(left.stock.on_hand_mg)}. Take it first, or"
        " say why it is left."
    )


def reservations(
    stocks: Iterable[Stock], *, besides: Batch | None = None
) -> dict[int, list[Meant]]:
    """Return by stock what the open batches but ``besides`` mean to use of it.

    A line of which nine tenths are in is taken as weighed, and nothing more is meant
    for a batch whose yield was weighed. Three queries, and a plan for each batch that
    means to use potash, because how much follows from its oils.
    """
    choices = _choices(stocks, besides)
    if not choices:
        return {}
    charged = _charged(choices)
    plans: dict[int, planning.Plan] = {}
    meant: dict[int, dict[str, int]] = defaultdict(lambda: defaultdict(int))
    for choice in choices:
        target = _target_mg(choice, charged, plans)
        done = charged.get((choice.batch_id, choice.line_id), 0)
        if target is not None and done * 10 < target * _TENTHS_WEIGHED:
            meant[choice.source_id][choice.batch.number] += target - done
    return {
        pk: [Meant(number=number, mass_mg=mg) for number, mg in sorted(found.items())]
        for pk, found in meant.items()
    }


def reserved_mg(
    stocks: Iterable[Stock], *, besides: Batch | None = None
) -> dict[int, int]:
    """Return by stock how many milligrams the open batches mean to use of it."""
    return {
        pk: sum(one.mass_mg for one in found)
        for pk, found in reservations(stocks, besides=besides).items()
    }


def meant_words(on_hand_mg: int, meant: Iterable[Meant]) -> str:
    """Say what is on hand and what of it is meant for whom.

    >>> meant_words(5_000_000, [Meant(number="B26-0019-7", mass_mg=1_200_000)])
    'of 5 kg on hand 1.2 kg is meant for B26-0019-7'
    """
    found = list(meant)
    if not found:
        return f"{format_mass(on_hand_mg)} on hand"
    who = ", ".join(
        f"{format_mass(_tenths(one.mass_mg))} is meant for {one.number}"
        for one in found
    )
    return f"of {format_mass(on_hand_mg)} on hand {who}"


def taken_from_others(row: Charge) -> str:
    """Warn if a charge left less of its source than other batches mean to use."""
    stock = Stock.objects.get(pk=row.source_id)
    meant = reservations([stock], besides=row.batch).get(stock.pk, [])
    if sum(one.mass_mg for one in meant) <= stock.on_hand_mg:
        return ""
    who = ", ".join(
        f"{format_mass(_tenths(one.mass_mg))} for {one.number}" for one in meant
    )
    return (
        f"{stock.code} now holds {format_mass(stock.on_hand_mg)}, less than is meant"
        f" for others: {who}. Choose another lot there, or get more."
    )


def _candidate(lot: RawLot, *, free_mg: int) -> Candidate:
    return Candidate(
        key=lot.pk,
        last_day=lot.last_day,
        received_on=lot.received_on,
        free_mg=free_mg,
    )


def _choices(stocks: Iterable[Stock], besides: Batch | None) -> list[LotChoice]:
    rows = LotChoice.objects.filter(
        source_id__in=[stock.pk for stock in stocks], batch__status__in=AT_THE_POT
    )
    if besides is not None:
        rows = rows.exclude(batch=besides)
    weighed = BulkWeighing.objects.current().values("batch_id")
    return list(
        rows.exclude(batch_id__in=weighed)
        .select_related("batch__stock", "batch__formula_version", "line__material")
        .order_by("pk")
    )


def _charged(choices: list[LotChoice]) -> Mapping[tuple[int, int | None], int]:
    """Return what is in by batch and line, and the paste by (batch, None)."""
    rows = (
        Charge.objects.current()
        .filter(batch_id__in={choice.batch_id for choice in choices})
        .order_by()
        .values_list("batch_id", "line_id", "line__source_formula_id")
        .annotate(net=Sum("net_mg"))
    )
    found: dict[tuple[int, int | None], int] = defaultdict(int)
    for batch_id, line_id, of_batch, net in rows:
        if line_id is not None:
            found[batch_id, line_id] += net
            found[batch_id, None] += net if of_batch is not None else 0
    return found


def _target_mg(
    choice: LotChoice,
    charged: Mapping[tuple[int, int | None], int],
    plans: dict[int, planning.Plan],
) -> int | None:
    """Return what a line asks for in all; None while it cannot be computed."""
    batch, line = choice.batch, choice.line
    if line.per_kg_mg is not None:
        basis = batch.basis_mg
        if batch.kind == Formula.Kind.DILUTION and line.source_formula_id is None:
            basis = charged.get((batch.pk, None), 0) or basis
        return basis * line.per_kg_mg // planning.PER_KG
    if batch.pk not in plans:
        plans[batch.pk] = planning.plan_of(batch)
    return next(
        (one.target_mg for one in plans[batch.pk].lines if one.line == line), None
    )


def _tenths(mg: int) -> int:
    """Return a mass that is aimed at, to a tenth of a gram."""
    return round(mg, -2)
