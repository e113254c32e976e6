"""The figures of raw lots by material: what certificates and own titrations say.

A fixed number of queries for any number of lots and materials.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterable
from decimal import Decimal
from typing import Any, Final

from django.db.models import Count, Q, QuerySet
from django.utils import timezone

from batches.models import Titration
from batches.services.figures import BASIS_WORDS, LEAST_COUNTED, TITRATION_WORDS
from producer.models import Certificate, RawLot
from quality.models import Characteristic, Limit
from quality.services.charting.plain import Chartable, Limits, Point

_TITRATED: Final = {
    Chartable.HYDROXIDE: Titration.Kind.POTASH,
    Chartable.SAPONIFICATION_VALUE: Titration.Kind.SAPONIFICATION_VALUE,
    Chartable.ACID_VALUE: Titration.Kind.ACID_VALUE,
}
_STATED: Final = {
    Chartable.ASSAY: "assay_percent",
    Chartable.SAPONIFICATION_VALUE: "saponification_value",
}
_LIMITED: Final = {
    Chartable.ASSAY: Characteristic.ASSAY,
    Chartable.SAPONIFICATION_VALUE: Characteristic.SAPONIFICATION_VALUE,
}


def points(characteristic: Chartable, only: int | None = None) -> Iterable[Point]:
    """Return a result for each lot of all materials, or of the one with this key.

    An own titration stands before the certificate of the same lot. It counts with two
    samples or more, as in every computation.
    """
    found: dict[int, Point] = {}
    if characteristic in _STATED:
        found.update(_stated(characteristic, only))
    if characteristic in _TITRATED:
        found.update(_titrated(characteristic, only))
    return found.values()


def limits(characteristic: Chartable, only: int | None = None) -> dict[int, Limits]:
    """Return the newest limit by material."""
    rows = (
        Limit.objects.filter(
            characteristic=_LIMITED.get(characteristic, ""), material__isnull=False
        )
        .order_by("version")
        .values_list("material", "version", "lower", "upper")
    )
    if only is not None:
        rows = rows.filter(material=only)
    return {
        material: Limits(
            lower=lower, upper=upper, words=f"limit version {version} of the material"
        )
        for material, version, lower, upper in rows
    }


def _of(rows: QuerySet[Any], lot: str, only: int | None) -> QuerySet[Any]:
    rows = rows.exclude(**{f"{lot}__status": RawLot.Status.REJECTED})
    return rows if only is None else rows.filter(**{f"{lot}__material": only})


def _names(lot: str) -> tuple[str, str, str, str]:
    return f"{lot}__material", lot, f"{lot}__stock__code", f"{lot}__received_on"


def _stated(characteristic: Chartable, only: int | None) -> dict[int, Point]:
    """Return what the newest certificate of each lot states.

    An assay by another basis is another quantity: the basis is its method.
    """
    field = _STATED[characteristic]
    is_assay = characteristic is Chartable.ASSAY
    rows = (
        _of(Certificate.objects.all(), "lot", only)
        .order_by("version")
        .values_list(*_names("lot"), field, "version", "assay_basis")
    )
    newest = {row[1]: row for row in rows}
    return {
        lot: _point(
            row[:4],
            row[4],
            origin=f"certificate version {row[5]}",
            method=BASIS_WORDS.get(row[6], "") if is_assay else "",
        )
        for lot, row in newest.items()
        if row[4] is not None
    }


def _titrated(characteristic: Chartable, only: int | None) -> dict[int, Point]:
    counted = Count("replicates", filter=Q(replicates__excluded_because=""))
    titrations = Titration.objects.current().filter(
        kind=_TITRATED[characteristic], stock__lot__isnull=False, value__isnull=False
    )
    rows = (
        _of(titrations, "stock__lot", only)
        .annotate(counted=counted)
        .filter(counted__gte=LEAST_COUNTED)
        .order_by("observed_at", "pk")
        .values_list(*_names("stock__lot"), "value")
    )
    return {row[1]: _point(row[:4], row[4], origin=TITRATION_WORDS) for row in rows}


def _point(
    head: tuple[Any, ...], value: Decimal, *, origin: str, method: str = ""
) -> Point:
    material, lot, code, received = head
    day = datetime.datetime.combine(
        received, datetime.time.min, timezone.get_current_timezone()
    )
    return Point(
        of=material,
        key=lot,
        label=code,
        page="producer:lot",
        argument=code,
        at=day,
        value=value,
        origin=origin,
        method=method,
    )
