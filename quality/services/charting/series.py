"""The results of the batches of one formula, in the order of time.

A signed judgement stands before what the records say now: it is what was decided on. A
fixed number of queries for any number of batches.
"""

from __future__ import annotations

import dataclasses
import datetime
import enum
import statistics
from collections.abc import Iterable, Mapping
from decimal import Decimal
from typing import Any, Final

from django.db.models import Count, Max, Q, QuerySet, Sum

from batches.chemistry.yields import yield_variance_percent
from batches.lifecycle import BatchStatus
from batches.models import BulkWeighing, Charge, Formula, Reading, Titration
from producer.models import Premises
from producer.quantities import grams
from quality.models import Characteristic, FillCheck, Judgement, Limit

PLACES: Final = Decimal("0.001")


class Chartable(enum.StrEnum):
    """What can be put on a chart."""

    PH = "ph"
    YIELD_VARIANCE = "yield_variance"
    FREE_ALKALI = "free_alkali"
    FILL = "fill"

    @property
    def label(self) -> str:
        """The words inside a sentence."""
        return _WORDS[self][0]

    @property
    def heading(self) -> str:
        """The words at the head of something; pH keeps its small p.

        >>> Chartable.PH.heading, Chartable.YIELD_VARIANCE.heading
        ('pH', 'Yield variance')
        """
        return self.label if self is Chartable.PH else self.label.capitalize()

    @property
    def unit(self) -> str:
        """The unit of a value, empty for pH."""
        return _WORDS[self][1]


_WORDS = {
    Chartable.PH: ("pH", ""),
    Chartable.YIELD_VARIANCE: ("yield variance", "%"),
    Chartable.FREE_ALKALI: ("free alkali by titration", "% KOH"),
    Chartable.FILL: ("mean content above the nominal one", "%"),
}


@dataclasses.dataclass(frozen=True, kw_only=True)
class Point:
    """One result: whose, when, and whether it is what somebody signed."""

    batch_id: int
    number: str
    at: datetime.datetime
    value: Decimal
    method: str = ""
    is_signed: bool = False


@dataclasses.dataclass(frozen=True, kw_only=True)
class Series:
    """The points of a formula and a characteristic, oldest first, with the limits.

    ``left_out`` are results by another method than that of the newest one: a pH by
    another method is another quantity. ``limits_from`` says where the limits stand.
    """

    formula: Formula
    characteristic: Chartable
    points: list[Point]
    left_out: int
    lower: Decimal | None
    upper: Decimal | None
    limits_from: str

    @property
    def values(self) -> list[float]:
        """The values as the statistics take them."""
        return [float(point.value) for point in self.points]


def counts() -> list[tuple[Formula, list[tuple[Chartable, int]]]]:
    """Return each formula with how many batches have a result to chart, if any."""
    found: dict[int, list[tuple[Chartable, int]]] = {}
    for characteristic, (rows, batch) in _countable().items():
        formula = f"{batch}__formula_version__formula"
        counted = (
            rows.exclude(**{f"{batch}__status": BatchStatus.ABANDONED})
            .order_by()
            .values_list(formula)
            .annotate(Count(batch, distinct=True))
        )
        for key, count in counted:
            found.setdefault(key, []).append((characteristic, count))
    return [
        (formula, found[formula.pk]) for formula in Formula.objects.filter(pk__in=found)
    ]


def _countable() -> Mapping[Chartable, tuple[QuerySet[Any], str]]:
    """Return the rows that give a result, with the way from them to their batch."""
    return {
        Chartable.PH: (_ph_readings(), "batch"),
        Chartable.YIELD_VARIANCE: (BulkWeighing.objects.current(), "batch"),
        Chartable.FREE_ALKALI: (_titrations(), "stock__batch"),
        Chartable.FILL: (FillCheck.objects.all(), "filling_lot__batch"),
    }


def series_of(formula: Formula, characteristic: Chartable) -> Series:
    """Return the series of a formula, over all its versions."""
    read = {
        Chartable.PH: _ph,
        Chartable.YIELD_VARIANCE: _yield_variance,
        Chartable.FREE_ALKALI: _free_alkali,
        Chartable.FILL: _fill,
    }[characteristic]
    points = sorted(read(formula), key=lambda point: (point.at, point.batch_id))
    kept = [point for point in points if point.method == points[-1].method]
    lower, upper, limits_from = _limits(formula, characteristic)
    return Series(
        formula=formula,
        characteristic=characteristic,
        points=kept,
        left_out=len(points) - len(kept),
        lower=lower,
        upper=upper,
        limits_from=limits_from,
    )


# ------------------------------------------------------------------ limits


def _limits(
    formula: Formula, characteristic: Chartable
) -> tuple[Decimal | None, Decimal | None, str]:
    if characteristic is Chartable.FREE_ALKALI:
        most = Premises.objects.values_list("free_alkali_limit_percent", flat=True)
        return None, most.first(), "the limit of the premises"
    if characteristic is Chartable.FILL:
        return Decimal(0), None, "on average not less than nominal (76/211/EEC)"
    limit = (
        Limit.objects.filter(
            formula_version__formula=formula, characteristic=characteristic.value
        )
        .select_related("formula_version")
        .order_by("-formula_version__version", "-version")
        .first()
    )
    if limit is None:
        return None, None, ""
    of = limit.formula_version.version
    words = f"limit version {limit.version} of formula version {of}"
    return limit.lower, limit.upper, words


# ------------------------------------------------------------------ points


def _signed(formula: Formula, characteristic: Characteristic) -> dict[int, Point]:
    """Return what was signed last of each batch, by its key."""
    rows = (
        Judgement.objects.filter(
            signature__batch__formula_version__formula=formula,
            characteristic=characteristic,
        )
        .order_by("signature_id")
        .values_list(
            "signature__batch",
            "signature__batch__stock__code",
            "signature__batch__opened_at",
            "value",
            "limit__method",
        )
    )
    return {
        batch: Point(
            batch_id=batch,
            number=number,
            at=at,
            value=value,
            method=method,
            is_signed=True,
        )
        for batch, number, at, value, method in rows
        if value is not None
    }


def _with_signed(
    formula: Formula, characteristic: Characteristic, current: Mapping[int, Point]
) -> Iterable[Point]:
    """Return the current points, each replaced by the signed one where there is one.

    A point stands at the time at which its batch was opened, signed or not, so that
    no signature moves it.
    """
    return {**current, **_signed(formula, characteristic)}.values()


def _ph_readings() -> QuerySet[Reading]:
    return Reading.objects.current().filter(
        characteristic=Reading.Characteristic.PH, value__isnull=False
    )


def _ph(formula: Formula) -> Iterable[Point]:
    """Return the newest reading of each batch that nothing was weighed in after."""
    first_entry = Q(batch__charges__supersedes__isnull=True)
    standing = Q(
        batch__charges__superseded_by__isnull=True, batch__charges__is_void=False
    )
    rows = (
        _of(formula, _ph_readings(), "batch")
        .annotate(
            weighed=Max("batch__charges__observed_at", filter=standing),
            entered=Max("batch__charges__entered_at", filter=first_entry),
        )
        .order_by("pk")
        .values_list(
            "batch",
            "batch__stock__code",
            "batch__opened_at",
            "value",
            "method",
            "observed_at",
            "entered_at",
            "weighed",
            "entered",
        )
    )
    current: dict[int, Point] = {}
    for batch, number, at, value, method, observed, written, weighed, entered in rows:
        current.pop(batch, None)
        if (weighed and weighed > observed) or (entered and entered > written):
            continue
        current[batch] = Point(
            batch_id=batch, number=number, at=at, value=value, method=method
        )
    return _with_signed(formula, Characteristic.PH, current)


def _yield_variance(formula: Formula) -> Iterable[Point]:
    weighed_in = dict(
        _of(formula, Charge.objects.current(), "batch")
        .order_by()
        .values_list("batch")
        .annotate(Sum("net_mg"))
    )
    rows = _of(formula, BulkWeighing.objects.current(), "batch").values_list(
        "batch", "batch__stock__code", "batch__opened_at", "net_mg"
    )
    current = {
        batch: Point(
            batch_id=batch,
            number=number,
            at=at,
            value=yield_variance_percent(grams(net), grams(weighed_in[batch])).quantize(
                PLACES
            ),
        )
        for batch, number, at, net in rows
        if weighed_in.get(batch)
    }
    return _with_signed(formula, Characteristic.YIELD_VARIANCE, current)


def _titrations() -> QuerySet[Titration]:
    return Titration.objects.current().filter(
        kind=Titration.Kind.FREE_ALKALI, stock__batch__isnull=False
    )


def _free_alkali(formula: Formula) -> Iterable[Point]:
    rows = (
        _of(formula, _titrations(), "stock__batch")
        .order_by("pk")
        .values_list("stock__batch", "stock__code", "stock__batch__opened_at", "value")
    )
    newest = {
        batch: Point(batch_id=batch, number=number, at=at, value=value)
        for batch, number, at, value in rows
    }
    return newest.values()


def _fill(formula: Formula) -> Iterable[Point]:
    """Return for each filling lot how far the mean content lies above nominal, in %.

    Net masses become volumes at 20 °C by the density of the lot; 1 g/ml is 1 mg/µl.
    """
    rows = (
        _of(formula, FillCheck.objects.all(), "filling_lot__batch")
        .order_by("pk")
        .values_list(
            "filling_lot",
            "filling_lot__batch",
            "filling_lot__batch__stock__code",
            "observed_at",
            "net_mg",
            "filling_lot__density",
            "filling_lot__nominal_ul",
        )
    )
    newest = {
        lot: Point(
            batch_id=batch,
            number=number,
            at=at,
            value=(
                (statistics.mean(map(Decimal, masses)) / density / nominal - 1) * 100
            ).quantize(PLACES),
        )
        for lot, batch, number, at, masses, density, nominal in rows
        if masses
    }
    return newest.values()


def _of(formula: Formula, rows: QuerySet[Any], batch: str) -> QuerySet[Any]:
    return rows.filter(**{f"{batch}__formula_version__formula": formula}).exclude(
        **{f"{batch}__status": BatchStatus.ABANDONED}
    )
