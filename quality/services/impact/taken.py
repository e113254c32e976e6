"""The results taken with an instrument in doubt, each with the size of the effect.

A scale: if it is off by the same at every load, gross and tare are off alike and the
net mass is right; if in proportion, the net mass is off by error ÷ reference × net. The
second is the largest, and is what is stated. A titration divides by the mass of its
sample, so its result is off the other way round. A thermometer is off by what its check
showed; a pH meter by the larger of its two errors, either way, and strips by half a
step and their ±, at the least.
"""

from __future__ import annotations

import dataclasses
import statistics
from collections import defaultdict
from collections.abc import Iterator
from decimal import Decimal
from typing import Any

from django.db.models import Q, QuerySet

from batches.models import (
    Batch,
    BulkWeighing,
    Charge,
    ContainerWeighing,
    Reading,
    Titration,
)
from producer.models import Material, Premises, Stock
from producer.quantities import format_number, grams
from quality.models import Characteristic, FillCheck, Limit
from quality.services.impact.doubt import resting_on
from quality.services.impact.plain import Doubt, Taken

Sides = tuple[Decimal | None, Decimal | None]


def taken(doubt: Doubt, *, mark: str = ".") -> list[Taken]:
    """Return every result that stands, in the order in which they were taken."""
    if doubt.is_indicator:
        found = [*_by_indicator(doubt, mark)]
    elif doubt.is_reference:
        found = [
            _of_unknown_size(one)
            for window in resting_on(doubt.instrument)
            for one in taken(window, mark=mark)
        ]
    elif doubt.is_scale:
        found = [
            *_charges(doubt),
            *_yields(doubt),
            *_containers(doubt),
            *_titrations(doubt, mark),
            *_fills(doubt, mark),
        ]
    else:
        found = [*_readings(doubt, mark)]
    return sorted(found, key=lambda one: (one.at, one.code, one.what))


def count(doubt: Doubt) -> int:
    """Return how many results that is."""
    if doubt.is_indicator:
        return Titration.objects.current().filter(indicator=doubt.instrument).count()
    if doubt.is_reference:
        return sum(count(window) for window in resting_on(doubt.instrument))
    if not doubt.is_scale:
        return _within(doubt, Reading.objects.current(), "instrument").count()
    rows: tuple[QuerySet[Any], ...] = (
        Charge.objects.current(),
        BulkWeighing.objects.current(),
        ContainerWeighing.objects.current(),
        Titration.objects.current(),
        FillCheck.objects.standing(),
    )
    return sum(_within(doubt, one, "scale").count() for one in rows)


def _within(doubt: Doubt, rows: QuerySet[Any], by: str) -> QuerySet[Any]:
    """Leave what the instrument showed from the last good check to the next one.

    By when it was observed; what has the very time of a check is listed too, and what
    was on record before the next good check was: see :meth:`.Doubt.covers`.
    """
    rows = rows.filter(**{by: doubt.instrument})
    if doubt.since is not None:
        rows = rows.filter(observed_at__gte=doubt.since)
    if doubt.until is not None:
        rows = rows.filter(
            Q(observed_at__lte=doubt.until) | Q(entered_at__lte=doubt.until_entered)
        )
    return rows


# ------------------------------------------------------------------ scales


def _charges(doubt: Doubt) -> Iterator[Taken]:
    rows = _within(doubt, Charge.objects.current(), "scale").select_related(
        "batch__stock", "source__lot__material"
    )
    for row in rows:
        is_lot = row.source.kind == Stock.Kind.LOT
        name = f" {row.source.lot.material.name}" if is_lot else ""
        brought = koh_of(row)
        yield Taken(
            stock_id=row.batch_id,
            code=row.batch.number,
            page="batches:batch",
            what=f"charge of{name} {row.source.code}",
            at=row.observed_at,
            value=grams(row.net_mg),
            unit="g",
            effect=grams(row.net_mg) * doubt.share,
            alkali=None if brought is None else -brought * doubt.share,
        )


def koh_of(row: Charge) -> Decimal | None:
    """Return grams of KOH that a charge brings, below zero what it takes up."""
    if row.figure is None or row.source.kind != Stock.Kind.LOT:
        return None
    mass, kind = grams(row.net_mg), row.source.lot.material.kind
    if kind == Material.Kind.POTASH:
        return mass * row.figure
    if kind == Material.Kind.OIL:
        return -mass * row.figure / 1000  # a saponification value is in mg/g
    return -mass * row.figure


def _yields(doubt: Doubt) -> Iterator[Taken]:
    rows = _within(doubt, BulkWeighing.objects.current(), "scale")
    for row in rows.select_related("batch__stock"):
        yield _mass(doubt, row, row.batch.stock, "what came out", row.net_mg)


def _containers(doubt: Doubt) -> Iterator[Taken]:
    rows = _within(doubt, ContainerWeighing.objects.current(), "scale")
    for row in rows.select_related("stock"):
        yield _mass(doubt, row, row.stock, "container", row.net_mg)


def _mass(doubt: Doubt, row: Any, stock: Stock, what: str, net_mg: int) -> Taken:
    return Taken(
        stock_id=stock.pk,
        code=stock.code,
        page=page_of(stock),
        what=what,
        at=row.observed_at,
        value=grams(net_mg),
        unit="g",
        effect=grams(net_mg) * doubt.share,
    )


def _of_unknown_size(one: Taken) -> Taken:
    """Return a result in doubt by what nobody can say the size of."""
    return dataclasses.replace(one, effect=None, alkali=None, crosses=False)


def _by_indicator(doubt: Doubt, mark: str) -> Iterator[Taken]:
    """Yield what was titrated with a lot of indicator: all there ever was of it."""
    for one in _titrations(doubt, mark, by="indicator"):
        yield _of_unknown_size(one)


def _titrations(doubt: Doubt, mark: str, by: str = "scale") -> Iterator[Taken]:
    most = Premises.objects.values_list("free_alkali_limit_percent", flat=True).first()
    rows = _within(doubt, Titration.objects.current(), by)
    for row in rows.select_related("stock"):
        is_free = row.kind == Titration.Kind.FREE_ALKALI
        is_percent = is_free or row.kind == Titration.Kind.POTASH
        value = row.value or Decimal(0)
        effect = -value * doubt.share
        sides = (None, most) if is_free else (None, None)
        yield Taken(
            stock_id=row.stock_id,
            code=row.stock.code,
            page=page_of(row.stock),
            what=f"titration, {row.get_kind_display()}",
            at=row.observed_at,
            value=value,
            unit="% KOH" if is_percent else "mg KOH/g",
            effect=effect,
            limits=_sides_words(sides, mark),
            margin=_margin(value, sides),
            crosses=_crosses(value, sides, value - effect),
        )


def _fills(doubt: Doubt, mark: str) -> Iterator[Taken]:
    rows = _within(doubt, FillCheck.objects.standing(), "scale")
    for row in rows.select_related("filling_lot__batch__stock"):
        lot = row.filling_lot
        mean = statistics.mean(map(Decimal, row.net_mg)) / 1000
        effect = mean * doubt.share
        sides = (lot.nominal_ul * lot.density / 1000, None)  # g/ml is mg/µl
        yield Taken(
            stock_id=lot.batch_id,
            code=lot.batch.number,
            page="batches:batch",
            what=f"fill of {lot.code}, mean of {len(row.net_mg)} bottles",
            at=row.observed_at,
            value=mean,
            unit="g",
            effect=effect,
            limits=_sides_words(sides, mark),
            margin=_margin(mean, sides),
            crosses=_crosses(mean, sides, mean - effect),
        )


# ------------------------------------------------------------------ readings


def _readings(doubt: Doubt, mark: str) -> Iterator[Taken]:
    rows = list(
        _within(doubt, Reading.objects.current(), "instrument")
        .filter(value__isnull=False)
        .select_related("batch__stock", "batch__formula_version")
    )
    limits = _ph_limits({row.batch.formula_version_id for row in rows})
    for row in rows:
        is_ph = row.characteristic == Reading.Characteristic.PH
        sides = (
            _ph_sides(limits, row)
            if is_ph
            else (None, row.batch.formula_version.temperature_limit)
        )
        effect = doubt.size if is_ph else doubt.error
        low = row.value - effect
        ends = [low, row.value + effect] if is_ph else [low]
        yield Taken(
            stock_id=row.batch_id,
            code=row.batch.number,
            page="batches:batch",
            what=row.get_characteristic_display(),
            at=row.observed_at,
            value=row.value,
            unit="" if is_ph else "°C",
            effect=effect,
            limits=_sides_words(sides, mark),
            margin=_margin(row.value, sides),
            crosses=_crosses(row.value, sides, *ends),
        )


def _ph_limits(versions: set[int]) -> dict[int, list[Limit]]:
    found: dict[int, list[Limit]] = defaultdict(list)
    rows = Limit.objects.filter(
        characteristic=Characteristic.PH, formula_version__in=versions
    )
    for limit in rows.order_by("version"):
        found[limit.formula_version_id or 0].append(limit)
    return found


def _ph_sides(limits: dict[int, list[Limit]], row: Reading) -> Sides:
    """Return the limit that holds for the batch, if the pH was taken by its method."""
    limit = _in_force(limits[row.batch.formula_version_id], row.batch)
    if limit is None or limit.method != row.method:
        return None, None
    return limit.lower, limit.upper


def _in_force(limits: list[Limit], batch: Batch) -> Limit | None:
    """Return the newest of when the batch was opened, else the first one ever set."""
    known = [limit for limit in limits if limit.entered_at <= batch.entered_at]
    return known[-1] if known else next(iter(limits), None)


# ------------------------------------------------------------------ limits


def _margin(value: Decimal, sides: Sides) -> Decimal | None:
    lower, upper = sides
    inside = [
        *([] if lower is None else [value - lower]),
        *([] if upper is None else [upper - value]),
    ]
    return min(inside, default=None)


def _crosses(value: Decimal, sides: Sides, *ends: Decimal) -> bool:
    """Say whether one of the ends lies on the other side of a limit than the value."""
    return any(_is_inside(end, sides) != _is_inside(value, sides) for end in ends)


def _is_inside(value: Decimal, sides: Sides) -> bool:
    margin = _margin(value, sides)
    return margin is None or margin >= 0


def _sides_words(sides: Sides, mark: str) -> str:
    lower, upper = (
        None if side is None else format_number(side, mark=mark) for side in sides
    )
    if lower and upper:
        return f"{lower} to {upper}"
    if lower:
        return f"at least {lower}"
    return f"at most {upper}" if upper else ""


def page_of(stock: Stock) -> str:
    """Return the name of the address of a raw lot or a batch."""
    return "producer:lot" if stock.kind == Stock.Kind.LOT else "batches:batch"
