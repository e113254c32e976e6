"""Batches: open, choose lots, weigh, read, finish."""

from __future__ import annotations

from collections.abc import Mapping

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone

from batches import trace
from batches.forms.making import (
    LotsForm,
    OpenForm,
)
from batches.lifecycle import AT_THE_POT, BatchStatus
from batches.models import Batch, BulkWeighing, Charge, HoldPoint, Reading
from batches.services import cooking, planning
from batches.services.corrections import counted
from batches.services.entries import Entries
from batches.services.formulas import newest_version
from batches.services.hold_points import not_passed, standing_points
from batches.services.results import yield_of
from batches.tables.making import BatchTable
from producer.forms.base import PlainForm, ReasonForm
from producer.models import Right, Stock
from producer.reads import only_looks
from producer.services.checks import local_day
from producer.tables.base import show
from producer.views import acts
from producer.views.acts import needs, read_only, user_of


def batch_by_number(number: str) -> Batch:
    """Return the batch with this number, or answer 404."""
    return get_object_or_404(Batch.objects.listed(), stock__code=number.upper())


def page_of(batch: Batch) -> str:
    """Return the address of a batch's page."""
    return reverse("batches:batch", args=[batch.number])


@read_only
def batches(request: HttpRequest) -> HttpResponse:
    """List batches, all or those of one status."""
    status = request.GET.get("status", "")
    rows = counted(Batch.objects.listed())
    if status in set(BatchStatus):
        rows = rows.filter(status=status)
    return render(
        request,
        "batches/batches.html",
        {
            "table": show(request, BatchTable(rows)),
            "status": status,
            "statuses": [(one.value, one.label) for one in BatchStatus],
        },
    )


@read_only
def batch(request: HttpRequest, number: str) -> HttpResponse:
    """Show a batch: what to do next, what to weigh, what was recorded."""
    found = batch_by_number(number)
    plan = planning.plan_of(found)
    readings = list(
        Reading.objects.filter(batch=found).select_related(
            "instrument",
            "transcription__attachment",
            "entered_by__person",
            "superseded_by",
        )
    )
    entries = Entries(found)
    result = yield_of(found, entries)
    points = standing_points(found)
    passed = _passed(found, points)
    has_yield = result.actual_mg is not None
    return render(
        request,
        "batches/batch.html",
        {
            "batch": found,
            "plan": plan,
            "entries": entries,
            "charges": Charge.objects.filter(batch=found).select_related(
                "source__lot__material",
                "supersedes__source",
                "line__material",
                "scale",
                "container",
                "vessel",
                "transcription__attachment",
                "entered_by__person",
                "superseded_by",
            ),
            "readings": readings,
            "hottest": _hottest(readings),
            "weighings": BulkWeighing.objects.filter(batch=found).select_related(
                "scale",
                "transcription__attachment",
                "entered_by__person",
                "superseded_by",
            ),
            "result": result,
            "changes": found.status_changes.select_related("entered_by__person"),
            "filling_lots": found.filling_lots.all(),
            "points": points.values(),
            "steps": _steps(found, plan, passed=passed, has_yield=has_yield),
            "next": _next(found, plan, passed=passed, has_yield=has_yield),
        },
    )


def _hottest(readings: list[Reading]) -> Reading | None:
    temperatures = [
        row
        for row in readings
        if row.characteristic == Reading.Characteristic.TEMPERATURE
        and row.value is not None
        and not hasattr(row, "superseded_by")
    ]
    return max(temperatures, key=lambda row: row.value or 0, default=None)


def _passed(batch: Batch, points: Mapping[str, HoldPoint]) -> bool:
    """Say whether the hold points are behind a batch: in order, or it is begun."""
    if batch.status != BatchStatus.PLANNED:
        return True
    return not not_passed(batch, points, timezone.now())


def _steps(
    batch: Batch, plan: planning.Plan, *, passed: bool, has_yield: bool
) -> list[dict[str, str]]:
    stopped = batch.status in {BatchStatus.ABANDONED, BatchStatus.REJECTED}
    open_ = batch.status in AT_THE_POT
    lots = all(line.source or line.charged_mg for line in plan.lines)
    weighed = all(line.charged_mg for line in plan.lines)
    done = [
        ("Lots chosen", lots),
        ("Hold points", passed and batch.status != BatchStatus.ABANDONED),
        ("Weighed in", weighed),
        ("Yield weighed", has_yield),
        ("Finished", not open_ and batch.status != BatchStatus.ABANDONED),
        ("Reviewed", batch.status not in {*_UNREVIEWED}),
    ]
    steps, now_given = [], False
    for label, is_done in done:
        state = "done" if is_done else "later"
        if not is_done and not now_given:
            state, now_given = ("stopped" if stopped else "now"), True
        steps.append({"label": label, "state": state})
    return steps


_UNREVIEWED = (
    BatchStatus.PLANNED,
    BatchStatus.IN_PROCESS,
    BatchStatus.AWAITING_REVIEW,
    BatchStatus.ABANDONED,
)


def _next(
    batch: Batch, plan: planning.Plan, *, passed: bool, has_yield: bool
) -> dict[str, str]:
    """Return the one thing to do next: heading, button and address."""
    number = [batch.number]
    if batch.status in AT_THE_POT:
        direct = _next_at_the_pot(batch, plan, passed=passed, has_yield=has_yield)
        return {
            "heading": direct["heading"],
            "label": "To the pot",
            "url": reverse("batches:pot", args=number),
            "also_label": direct["label"],
            "also_url": direct["url"],
        }
    if batch.status == BatchStatus.AWAITING_REVIEW:
        return {
            "heading": "A reviewer looks at it",
            "label": "To the review",
            "url": reverse("quality:review", args=number),
        }
    if batch.status == BatchStatus.RELEASED and batch.stock.on_hand_mg:
        if batch.formula_version.formula.purpose == "paste":
            return {
                "heading": "Use the paste",
                "label": "Open a dilution",
                "url": reverse("batches:batch_open"),
            }
        return {
            "heading": "Fill it into bottles",
            "label": "Fill bottles",
            "url": reverse("batches:fill", args=number),
        }
    return {}


def _next_at_the_pot(
    batch: Batch, plan: planning.Plan, *, passed: bool, has_yield: bool
) -> dict[str, str]:
    number = [batch.number]
    unchosen = [
        line.name for line in plan.lines if not line.source and not line.charged_mg
    ]
    if unchosen:
        return {
            "heading": f"Choose lots for: {', '.join(unchosen)}",
            "label": "Choose lots",
            "url": reverse("batches:lots", args=number),
        }
    if not passed:
        return {
            "heading": "Go through the hold points",
            "label": "Hold points",
            "url": reverse("quality:hold_points", args=number),
        }
    # Potash comes last: its amount follows from the oils that were weighed.
    open_lines = sorted(
        (line for line in plan.lines if planning.is_short(line)),
        key=lambda line: line.kind == "potash",
    )
    if open_lines:
        line = open_lines[0]
        return {
            "heading": f"Weigh {line.name}",
            "label": "Weigh it",
            "url": reverse("batches:charge", args=[batch.number, line.line.position]),
        }
    if not has_yield:
        return {
            "heading": "Cook, test, then weigh what came out",
            "label": "Weigh the yield",
            "url": reverse("batches:weigh", args=number),
        }
    return {
        "heading": "Finish the record",
        "label": "Finish",
        "url": reverse("batches:finish", args=number),
    }


@needs(Right.MAKER)
def batch_open(request: HttpRequest) -> HttpResponse:
    """Open a batch."""
    return acts.handle(
        request,
        OpenForm(request.POST or None, initial={"formula": request.GET.get("formula")}),
        do=lambda facts, submission: planning.open_batch(
            by=user_of(request),
            formula_version=newest_version(facts["formula"]),
            basis_mg=facts["basis_mg"],
            is_rework=facts["is_rework"],
            opened_at=facts["opened_at"],
            submission=submission,
        ),
        then=page_of,
        said=lambda made: f"Batch {made.number} is open.",
        home=reverse("batches:batches"),
        title="Open a batch",
        submit="Open it",
        template="batches/open.html",
        context={"cautions": ["potash", "hot_work"]},
    )


@needs(Right.MAKER)
def batch_lots(request: HttpRequest, number: str) -> HttpResponse:
    """Choose the lots for each line."""
    found = batch_by_number(number)
    lines = list(
        found.formula_version.lines.select_related("material", "source_formula")
    )
    initial = {
        f"line_{choice.line_id}": choice.source_id for choice in found.lot_choices.all()
    }
    today = local_day(timezone.now())
    form = LotsForm(
        request.POST or None, lines=lines, on=today, batch=found, initial=initial
    )
    return acts.handle(
        request,
        form,
        do=lambda facts, submission: planning.choose_lots(
            by=user_of(request), batch=found, submission=submission, **facts
        ),
        then=lambda _: page_of(found),
        said="The lots are chosen.",
        home=page_of(found),
        title=f"Choose lots for {found.number}",
        submit="Choose these",
        context={
            "lead": "Released lots in date, first expired first. Where nothing was"
            " chosen yet, the first in turn is filled in."
        },
    )


@needs(Right.MAKER)
def finish(request: HttpRequest, number: str) -> HttpResponse:
    """Close the record and hand it over for review."""
    found = batch_by_number(number)
    return acts.handle(
        request,
        PlainForm(request.POST or None),
        do=lambda _, submission: cooking.finish(
            by=user_of(request), batch=found, submission=submission
        ),
        then=lambda _: page_of(found),
        said="The batch is finished and waits for review.",
        home=page_of(found),
        title=f"Finish {found.number}",
        submit="Finish it",
        template="batches/finish.html",
        context={
            "batch": found,
            "lead": "Nothing can be weighed in afterwards. Results can still be added"
            " until a reviewer signs.",
        },
    )


@needs(Right.MAKER)
def abandon(request: HttpRequest, number: str) -> HttpResponse:
    """Give a batch up."""
    found = batch_by_number(number)
    return acts.handle(
        request,
        ReasonForm(request.POST or None),
        do=lambda facts, submission: cooking.abandon(
            by=user_of(request), batch=found, submission=submission, **facts
        ),
        then=lambda _: page_of(found),
        said="The batch is abandoned. What was charged stays traceable.",
        home=page_of(found),
        title=f"Abandon {found.number}",
        submit="Abandon it",
        context={"danger": True, "cautions": ["waste"]},
    )


@read_only
@only_looks
def history(request: HttpRequest, code: str) -> HttpResponse:
    """Show the genealogy of a lot or batch: back to lots, forward to bottles."""
    stock = get_object_or_404(Stock, code=code.upper())
    forwards = trace.track(stock)
    bottles = trace.bottles_of(forwards.batch_ids)
    return render(
        request,
        "batches/history.html",
        {
            "stock": stock,
            "back": trace.trace(stock),
            "forwards": forwards,
            "bottle_count": bottles.count(),
            "bottles": bottles[:200],
        },
    )
