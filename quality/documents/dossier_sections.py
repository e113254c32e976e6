"""What stands in the sections of a dossier, read for print."""

from __future__ import annotations

import dataclasses
import json
from collections import defaultdict
from collections.abc import Iterable, Iterator
from decimal import Decimal
from typing import Any

from django.db.models import Count, Prefetch
from django.utils.safestring import SafeString, mark_safe

from batches.chemistry.saponification import Oil, alkali_need
from batches.documents.labels import proof_svg
from batches.models import (
    Batch,
    Bottle,
    Charge,
    FillingLot,
    Formula,
    LabelIssue,
    RetainedSample,
    Titration,
)
from batches.services import labelling
from batches.services.entries import Entries
from batches.trace import Genealogy
from producer.models import Certificate, Material, RawLot
from producer.quantities import grams
from quality.charts.control import individuals_picture
from quality.models import Signature
from quality.services.alkali import words
from quality.services.as_signed import WAYS
from quality.services.charting import Chartable, Kind, analysis_of, series_of
from quality.services.reading_order.judgements import Shown
from quality.services.reviewing import Review
from quality.statistics.budgets import Budget
from quality.statistics.quantities import Distribution
from quality.statistics.rounding import rounded


@dataclasses.dataclass(frozen=True, kw_only=True)
class LotInIt:
    """A raw lot in a batch at any depth, its papers, and which version was used."""

    lot: RawLot
    certificates: list[Certificate]
    titrations: list[Titration]
    used: set[int]


@dataclasses.dataclass(frozen=True, kw_only=True)
class AlkaliSum:
    """Grams of KOH: what the oils need, what potash brings and acid takes up.

    From the masses on the scale and the figure each charge was computed with.
    """

    need: Decimal
    brought: Decimal
    taken_up: Decimal

    @property
    def left_over(self) -> Decimal:
        """What is left over, below zero where some is lacking."""
        return self.brought - self.need - self.taken_up


@dataclasses.dataclass(frozen=True, kw_only=True)
class ShownBudget:
    """A result with its ± and the inputs behind it; inputs as the record keeps them."""

    name: str
    result: str
    factor: float
    inputs: list[dict[str, Any]]


@dataclasses.dataclass(frozen=True, kw_only=True)
class ShownChart:
    """A control chart up to a batch; ``sentence`` says why there is none."""

    heading: str
    place: int
    value: Decimal
    unit: str
    svg: SafeString
    sentence: str
    found: list[str]


@dataclasses.dataclass(frozen=True, kw_only=True)
class Judged:
    """A judgement with value and limits in words."""

    shown: Shown
    value: str
    limits: str


@dataclasses.dataclass(frozen=True, kw_only=True)
class Filled:
    """A filling lot: its bottles by state, and how many are with whom."""

    lot: FillingLot
    states: list[tuple[str, int]]
    holders: list[tuple[str, int]]


def lots_of(back: Genealogy) -> list[LotInIt]:
    """Return the raw lots in a batch at any depth, with certificates and titrations."""
    ids = [lot.pk for lot in back.lots]
    certificates: dict[int, list[Certificate]] = defaultdict(list)
    for paper in (
        Certificate.objects.filter(lot__in=ids)
        .select_related("attachment")
        .order_by("lot_id", "version")
    ):
        certificates[paper.lot_id].append(paper)
    titrations: dict[int, list[Titration]] = defaultdict(list)
    for titration in Titration.objects.current().filter(stock__in=ids).order_by("pk"):
        titrations[titration.stock_id].append(titration)
    used = set(
        Charge.objects.current()
        .filter(batch__in=back.batch_ids, certificate__isnull=False)
        .values_list("certificate_id", flat=True)
    )
    return [
        LotInIt(
            lot=lot,
            certificates=certificates[lot.pk],
            titrations=titrations[lot.pk],
            used={paper.pk for paper in certificates[lot.pk]} & used,
        )
        for lot in back.lots
    ]


def alkali_sum(batch: Batch, entries: Entries) -> AlkaliSum | None:
    """Return need and supply of KOH; None until oil and potash are weighed in."""
    by_kind: dict[str, list[Charge]] = defaultdict(list)
    for row in entries.standing_charges:
        if row.figure is not None:
            by_kind[row.source.lot.material.kind].append(row)
    kind = Material.Kind
    both = by_kind[kind.OIL] and by_kind[kind.POTASH]
    if batch.kind != Formula.Kind.COOK or not both:
        return None
    return AlkaliSum(
        need=alkali_need(
            Oil(grams(row.net_mg), row.figure or Decimal(0))
            for row in by_kind[kind.OIL]
        ),
        brought=_times_figure(by_kind[kind.POTASH]),
        taken_up=_times_figure(by_kind[kind.ADDITION]),
    )


def _times_figure(rows: Iterable[Charge]) -> Decimal:
    products = (grams(row.net_mg) * (row.figure or 0) for row in rows)
    return sum(products, Decimal(0))


def judged_of(rows: Iterable[Shown], mark: str) -> list[Judged]:
    """Return judgements with value and limits in words."""
    return [
        Judged(
            shown=row,
            value=row.value_in_words(mark),
            limits=row.limits_in_words(mark),
        )
        for row in rows
    ]


# ------------------------------------------------------------------ budgets


def signed_budgets(signature: Signature, mark: str) -> Iterator[ShownBudget]:
    """Yield the budgets that a signature signed; none where the record is older."""
    computed = json.loads(signature.record).get("computed") or {}
    for way, kept in computed.get("excess_alkali_g", {}).items():
        yield _shown(f"Potassium hydroxide by {WAYS[way]}", kept, mark)
    content = computed.get("soap_content_percent")
    if content is not None:
        yield _shown("Soap content", content, mark, unit="%")


def computed_budgets(review: Review, mark: str) -> Iterator[ShownBudget]:
    """Yield the same budgets as they are computed now, for what nobody has signed."""
    known = review.alkali
    if known.weighed is not None:
        name = "Potassium hydroxide by weighing"
        if known.weighed.planned:
            name += ", with the rest as planned"
        yield _shown(name, _kept(known.weighed.budget), mark)
    if known.titrated is not None:
        name = "Potassium hydroxide by titration"
        yield _shown(name, _kept(known.titrated.budget), mark)
    if review.came_out.soap_content is not None:
        yield _shown(
            "Soap content", _kept(review.came_out.soap_content), mark, unit="%"
        )


def _kept(budget: Budget) -> dict[str, Any]:
    """Return a budget in the shape a record keeps it in."""
    return {
        "value": budget.value,
        "standard_uncertainty": budget.standard_uncertainty,
        "coverage_factor": budget.coverage_factor,
        "inputs": [
            {
                "name": line.quantity.name,
                "value": line.quantity.value,
                "standard_uncertainty": line.quantity.standard_uncertainty,
                "unit": line.quantity.unit,
                "distribution": line.quantity.distribution,
                "origin": line.quantity.origin,
            }
            for line in budget.lines
        ],
    }


def _shown(
    name: str, kept: dict[str, Any], mark: str, *, unit: str = ""
) -> ShownBudget:
    value, factor = float(kept["value"]), float(kept["coverage_factor"])
    spread = float(kept["standard_uncertainty"]) * factor
    if unit:
        result = f"{rounded(value, spread).text(mark=mark)} {unit}"
    else:
        result = words.grams_in_words(value, spread, mark=mark)
    return ShownBudget(
        name=name,
        result=result,
        factor=factor,
        inputs=[
            {**one, "distribution": Distribution(one["distribution"]).label}
            for one in kept["inputs"]
        ],
    )


# ------------------------------------------------------------------ charts


def charts_of(batch: Batch, mark: str) -> Iterator[ShownChart]:
    """Yield a chart of the formula for each result of this batch, up to this batch."""
    formula = batch.formula_version.formula
    for characteristic in Chartable:
        if characteristic.kind != Kind.FORMULA:
            continue
        series = series_of(formula, characteristic)
        own = [
            place for place, point in enumerate(series.points) if point.key == batch.pk
        ]
        if not own:
            continue
        points = series.points[: own[-1] + 1]
        shown = dataclasses.replace(series, points=points)
        analysis = analysis_of(shown)
        svg = SafeString("")
        if analysis.chart is not None:
            svg = individuals_picture(
                analysis.chart,
                series.name,
                first=analysis.span.first,
                patterned=analysis.patterned,
                ringed=analysis.drawn(shown.with_others),
                crossed=analysis.drawn(analysis.span.apart),
                mark=mark,
            )
        yield ShownChart(
            heading=characteristic.heading,
            place=len(points),
            value=points[-1].value,
            unit=series.unit,
            svg=svg,
            sentence=analysis.sentence,
            found=[found.sentence for found in analysis.found],
        )


# ------------------------------------------------------------------ bottles


def filled_from(batch_ids: Iterable[int]) -> list[Filled]:
    """Return the filling lots of these batches, a fixed number of queries."""
    lots = (
        FillingLot.objects.filter(batch__in=list(batch_ids))
        .select_related(
            "batch__stock",
            "batch__formula_version",
            "balance",
            "release__entered_by__person",
        )
        .prefetch_related(
            "fill_checks__taken_back__entered_by__person",
            Prefetch("samples", RetainedSample.objects.listed()),
        )
        .order_by("pk")
    )
    bottles = Bottle.objects.filter(filling_lot__in=lots).order_by()
    states: dict[int, list[tuple[str, int]]] = defaultdict(list)
    names = dict(Bottle._meta.get_field("status").flatchoices)
    counted = bottles.values_list("filling_lot", "status").annotate(Count("pk"))
    for lot_id, status, count in counted.order_by("status"):
        states[lot_id].append((names[status], count))
    holders: dict[int, list[tuple[str, int]]] = defaultdict(list)
    out = bottles.filter(status="dispatched")
    held = out.values_list("filling_lot", "consignee__name").annotate(Count("pk"))
    for lot_id, name, count in held.order_by("consignee__name"):
        holders[lot_id].append((name, count))
    return [
        Filled(lot=lot, states=states[lot.pk], holders=holders[lot.pk]) for lot in lots
    ]


def specimen_of(batch: Batch) -> SafeString | None:
    """Return a label of a batch as it was printed, marked as a specimen.

    Of the first issue of labels; None where none was issued.
    """
    issue = (
        LabelIssue.objects.filter(filling_lot__batch=batch)
        .select_related(
            "label__formula", "filling_lot__batch__formula_version__formula"
        )
        .order_by("pk")
        .first()
    )
    if issue is None:
        return None
    sheet = labelling.placement_of(issue).sheet
    picture = proof_svg(labelling.text_of(issue), sheet, None)
    return mark_safe(picture)  # noqa: S308 - drawn by us, its texts escaped
