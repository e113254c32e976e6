"""The results of batches, by formula, over all its versions.

A signed judgement stands before what the records say now: it is what was decided on. A
fixed number of queries for any number of batches and formulas.
"""

from __future__ import annotations

import dataclasses
import statistics
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal
from typing import Any, Final

from django.db.models import Max, Q, QuerySet, Sum

from batches.chemistry.yields import yield_variance_percent
from batches.lifecycle import BatchStatus
from batches.models import BulkWeighing, Charge, Loss, Reading, Titration
from producer.models import Premises
from producer.quantities import grams
from quality.models import Characteristic, FillCheck, Judgement, Limit, SignatureMark
from quality.services.charting.plain import Chartable, Limits, Other, Point

PLACES: Final = Decimal("0.001")
SIGNED: Final = "signed judgement"
RECORD: Final = "record"
WEIGHED: Final = "pot weighed before and after"
MISSING: Final = "all that is missing and was not seen to go, unexplained loss with it"
# Each comes of a rejection: such a batch says little of how the others come out.
_BAD: Final = {BatchStatus.REJECTED, BatchStatus.DISPOSED, BatchStatus.REWORKED}
_HUNDRED: Final = 100  # percent; nominal content


def points(characteristic: Chartable, only: int | None = None) -> Iterable[Point]:
    """Return the results of all formulas, or of the one with this key."""
    return {
        Chartable.PH: _ph,
        Chartable.YIELD_VARIANCE: _yield_variance,
        Chartable.FREE_ALKALI: _free_alkali,
        Chartable.FILL: _fill,
        Chartable.EVAPORATION: _evaporation,
        Chartable.SOAP_CONTENT: _soap_content,
    }[characteristic](only)


# ------------------------------------------------------------------ limits

_LIMITED: Final = {
    Chartable.PH: Characteristic.PH,
    Chartable.YIELD_VARIANCE: Characteristic.YIELD_VARIANCE,
    Chartable.FREE_ALKALI: Characteristic.FREE_ALKALI,
    Chartable.FILL: Characteristic.NET_CONTENT,
    Chartable.SOAP_CONTENT: Characteristic.SOAP_CONTENT,
}


def usual_limits(characteristic: Chartable) -> Limits:
    """Return what holds where a formula has no limit of its own."""
    if characteristic is Chartable.FREE_ALKALI:
        most = Premises.objects.values_list("free_alkali_limit_percent", flat=True)
        return Limits(upper=most.first(), words="the limit of the premises")
    if characteristic is Chartable.FILL:
        words = "on average not less than nominal (76/211/EEC)"
        return Limits(lower=Decimal(0), words=words)
    return Limits()


def limits(characteristic: Chartable, only: int | None = None) -> dict[int, Limits]:
    """Return the limits in force by formula: of its newest version that has one."""
    rows = (
        Limit.objects.filter(
            characteristic=_LIMITED.get(characteristic, ""),
            formula_version__isnull=False,
        )
        .order_by("formula_version__version", "version")
        .values_list(
            "formula_version__formula",
            "formula_version__version",
            "version",
            "lower",
            "upper",
        )
    )
    if only is not None:
        rows = rows.filter(formula_version__formula=only)
    # Net content is limited in percent of nominal and charted as what is above it.
    less = _HUNDRED if characteristic is Chartable.FILL else 0
    return {
        formula: Limits(
            lower=None if lower is None else lower - less,
            upper=None if upper is None else upper - less,
            words=f"limit version {version} of formula version {of}",
        )
        for formula, of, version, lower, upper in rows
    }


# ------------------------------------------------------------------ points

Rows = dict[int, Point]


def _of(rows: QuerySet[Any], batch: str, only: int | None) -> QuerySet[Any]:
    """Leave out abandoned batches, and all but one formula where one is asked for."""
    rows = rows.exclude(**{f"{batch}__status": BatchStatus.ABANDONED})
    return (
        rows
        if only is None
        else rows.filter(**{f"{batch}__formula_version__formula": only})
    )


def _names(batch: str) -> tuple[str, str, str, str, str]:
    """Return what a point needs of its batch: formula, key, number, state, opened."""
    return (
        f"{batch}__formula_version__formula",
        batch,
        f"{batch}__stock__code",
        f"{batch}__status",
        f"{batch}__opened_at",
    )


def _point(
    head: tuple[Any, ...],
    value: Decimal,
    *,
    origin: str = RECORD,
    method: str = "",
    others: Iterable[Other] = (),
) -> Point:
    formula, batch, number, status, at = head
    return Point(
        of=formula,
        key=batch,
        label=number,
        page="batches:batch",
        argument=number,
        at=at,
        value=value,
        origin=origin,
        method=method,
        others=tuple(others),
        apart=BatchStatus(status).label if status in _BAD else "",
    )


def _signed(characteristic: Characteristic, only: int | None) -> Rows:
    """Return what was signed last of each batch and still stands, by its key."""
    is_ph = characteristic == Characteristic.PH
    rows = (
        _of(
            Judgement.objects.filter(
                characteristic=characteristic, value__isnull=False
            ).exclude(signature__marks__kind=SignatureMark.Kind.VOID),
            "signature__batch",
            only,
        )
        .order_by("signature_id")
        .values_list(*_names("signature__batch"), "value", "limit__method")
    )
    return {
        # Of all else the method in the limit is a text beside it, and no method.
        head[1]: _point(
            tuple(head), value, origin=SIGNED, method=method if is_ph else ""
        )
        for *head, value, method in rows
    }


def _with_signed(
    characteristic: Characteristic, only: int | None, current: Mapping[int, Point]
) -> Iterable[Point]:
    """Return the current points, each replaced by the signed one where there is one.

    A point stands at the time at which its batch was opened, signed or not, so that
    no signature moves it.
    """
    return {**current, **_signed(characteristic, only)}.values()


def _ph(only: int | None) -> Iterable[Point]:
    """Return the last reading of each batch, if nothing was weighed in after it.

    A correction keeps the place of what it corrects, as when it is judged.
    """
    first_entry = Q(batch__charges__supersedes__isnull=True)
    standing = Q(
        batch__charges__superseded_by__isnull=True, batch__charges__is_void=False
    )
    readings = Reading.objects.filter(characteristic=Reading.Characteristic.PH)
    rows = _in_turn(
        _of(readings, "batch", only)
        .annotate(
            weighed=Max("batch__charges__observed_at", filter=standing),
            entered=Max("batch__charges__entered_at", filter=first_entry),
        )
        .values_list(
            *_TURN,
            *_names("batch"),
            "value",
            "method",
            "observed_at",
            "weighed",
            "entered",
        )
    )
    current: Rows = {}
    read: dict[int, list[Other]] = defaultdict(list)
    for written, *head, value, method, observed, weighed, entered in rows:
        batch = head[1]
        read[batch].append(Other(value=value, at=observed, method=method))
        current.pop(batch, None)
        if (weighed and weighed > observed) or (entered and entered > written):
            continue
        current[batch] = _point(tuple(head), value, method=method)
    return [
        dataclasses.replace(point, others=_besides(point, read[point.key]))
        for point in _with_signed(Characteristic.PH, only, current)
    ]


_TURN: Final = ("pk", "supersedes_id", "superseded_by__pk", "is_void", "entered_at")


def _in_turn(rows: Iterable[tuple[Any, ...]]) -> Iterable[tuple[Any, ...]]:
    """Return the rows that stand, each at the place of the first one of its chain.

    ``rows`` begin with what ``_TURN`` names; instead they then begin with the time of
    the first entry.
    """
    first: dict[int, tuple[int, Any]] = {}
    found = []
    for pk, former, later, is_void, entered_at, *rest in sorted(rows, key=_key):
        first[pk] = first.get(former, (pk, entered_at))
        if later is None and not is_void:
            place, entered = first[pk]
            found.append((place, (entered, *rest)))
    return [row for _, row in sorted(found, key=_key)]


def _key(row: tuple[Any, ...]) -> Any:
    return row[0]


def _besides(point: Point, results: list[Other]) -> tuple[Other, ...]:
    """Return the results of a batch without the newest one that is the point itself.

    A signed value is kept with three decimals, and its reading is found by them.
    """
    kept = list(results)
    for place in reversed(range(len(kept))):
        if kept[place].value.quantize(PLACES) == point.value.quantize(PLACES):
            del kept[place]
            break
    return tuple(kept)


def _weighed_in(only: int | None) -> dict[int, int]:
    """Return milligrams of all that went into each batch."""
    return dict(
        _of(Charge.objects.current(), "batch", only)
        .order_by()
        .values_list("batch")
        .annotate(Sum("net_mg"))
    )


def _yield_variance(only: int | None) -> Iterable[Point]:
    went_in = _weighed_in(only)
    rows = _of(BulkWeighing.objects.current(), "batch", only).values_list(
        *_names("batch"), "net_mg"
    )
    current = {
        head[1]: _point(
            tuple(head),
            yield_variance_percent(grams(net), grams(went_in[head[1]])).quantize(
                PLACES
            ),
        )
        for *head, net in rows
        if went_in.get(head[1])
    }
    return _with_signed(Characteristic.YIELD_VARIANCE, only, current)


def _evaporation(only: int | None) -> Iterable[Point]:
    """Return what boiled off each batch, in percent of what went in.

    By weighing the pot before and after. Where that was not done, all that is missing
    and was not seen to go stands for it; that is another method, and never mixed.
    """
    went_in = _weighed_in(only)
    lost: dict[int, dict[bool, int]] = defaultdict(dict)
    for batch, kind, mass in (
        _of(Loss.objects.current(), "batch", only)
        .order_by()
        .values_list("batch", "kind")
        .annotate(Sum("mass_mg"))
    ):
        seen = kind != Loss.Kind.EVAPORATION
        lost[batch][seen] = lost[batch].get(seen, 0) + mass
    rows = _of(BulkWeighing.objects.current(), "batch", only).values_list(
        *_names("batch"), "net_mg"
    )
    for *head, net in rows:
        batch = head[1]
        put_in = went_in.get(batch)
        if not put_in:
            continue
        boiled = lost[batch].get(False)
        missing = put_in - net - lost[batch].get(True, 0)
        percent = Decimal(missing if boiled is None else boiled) / put_in * _HUNDRED
        yield _point(
            tuple(head),
            percent.quantize(PLACES),
            method=MISSING if boiled is None else WEIGHED,
        )


def _soap_content(only: int | None) -> Iterable[Point]:
    return _signed(Characteristic.SOAP_CONTENT, only).values()


def _free_alkali(only: int | None) -> Iterable[Point]:
    titrations = Titration.objects.current().filter(
        kind=Titration.Kind.FREE_ALKALI,
        stock__batch__isnull=False,
        value__isnull=False,
    )
    rows = (
        _of(titrations, "stock__batch", only)
        .order_by("pk")
        .values_list(*_names("stock__batch"), "value", "observed_at")
    )
    return _newest(
        (head[1], head, Other(value=value, at=at)) for *head, value, at in rows
    )


def _newest(
    results: Iterable[tuple[int, Sequence[Any], Other]],
) -> Iterable[Point]:
    """Return the newest of the results of each key, with those before it."""
    heads, found = {}, defaultdict(list)
    for key, head, result in results:
        heads[key] = tuple(head)
        found[key].append(result)
    for key, (*others, counted) in found.items():
        yield _point(heads[key], counted.value, others=others)


def _fill(only: int | None) -> Iterable[Point]:
    """Return for each filling lot how far the mean content lies above nominal, in %.

    Net masses become volumes at 20 °C by the density of the lot; 1 g/ml is 1 mg/µl. The
    point stands at the time of its check.
    """
    formula, batch, number, status, _ = _names("filling_lot__batch")
    checks = FillCheck.objects.standing().in_turn()
    rows = _of(checks, "filling_lot__batch", only).values_list(
        formula,
        batch,
        number,
        status,
        "observed_at",
        "net_mg",
        "filling_lot",
        "filling_lot__density",
        "filling_lot__nominal_ul",
    )
    return _newest(
        (lot, head, Other(value=_above(masses, density, nominal), at=head[-1]))
        for *head, masses, lot, density, nominal in rows
        if masses
    )


def _above(masses: list[int], density: Decimal, nominal: int) -> Decimal:
    mean = statistics.mean(map(Decimal, masses))
    return ((mean / density / nominal - 1) * _HUNDRED).quantize(PLACES)
