"""Batches: open, choose lots, weigh, read, finish."""

from __future__ import annotations

from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone

from batches import trace
from batches.forms.making import (
    AmendReadingForm,
    AmendWeighingForm,
    ChargeForm,
    LotsForm,
    OpenForm,
    ReadingForm,
    WeighForm,
)
from batches.lifecycle import BatchStatus
from batches.models import Batch, BulkWeighing, Charge, FormulaLine, Reading
from batches.services import cooking, planning
from batches.services.formulas import newest_version
from batches.services.results import yield_of
from batches.tables.making import BatchTable
from producer.forms.base import PlainForm, ReasonForm
from producer.models import Right, Stock
from producer.services.checks import local_day
from producer.tables.base import show
from producer.templatetags.kettlebook import mass
from producer.templatetags.kettlebook import number as number_words
from producer.views import acts
from producer.views.acts import needs, read_only, user_of

READ_LEADS = {
    "temperature": "In the middle of the pot, stirred.",
    "ph": "Of the prepared solution, never of the paste itself.",
    "clarity": "pH cannot see unreacted oil; a portion in hot distilled water can.",
}


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
    rows = Batch.objects.listed()
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
            "instrument", "entered_by__person", "superseded_by"
        )
    )
    result = yield_of(found)
    return render(
        request,
        "batches/batch.html",
        {
            "batch": found,
            "plan": plan,
            "charges": Charge.objects.filter(batch=found).select_related(
                "source__lot__material",
                "line__material",
                "scale",
                "entered_by__person",
                "superseded_by",
            ),
            "readings": readings,
            "hottest": _hottest(readings),
            "weighings": BulkWeighing.objects.filter(batch=found).select_related(
                "scale", "entered_by__person", "superseded_by"
            ),
            "result": result,
            "changes": found.status_changes.select_related("entered_by__person"),
            "filling_lots": found.filling_lots.all(),
            "steps": _steps(found, plan, has_yield=result.actual_mg is not None),
            "next": _next(found, plan, has_yield=result.actual_mg is not None),
        },
    )


def _was(row: Charge | BulkWeighing) -> list[tuple[str, str]]:
    return [
        ("Gross was", mass(row.gross_mg)),
        ("Tare was", mass(row.tare_mg)),
        ("Net was", mass(row.net_mg)),
    ]


def _hottest(readings: list[Reading]) -> Reading | None:
    temperatures = [
        row
        for row in readings
        if row.characteristic == Reading.Characteristic.TEMPERATURE
        and row.value is not None
        and not hasattr(row, "superseded_by")
    ]
    return max(temperatures, key=lambda row: row.value or 0, default=None)


def _steps(
    batch: Batch, plan: planning.Plan, *, has_yield: bool
) -> list[dict[str, str]]:
    stopped = batch.status in {BatchStatus.ABANDONED, BatchStatus.REJECTED}
    open_ = batch.status in {BatchStatus.PLANNED, BatchStatus.IN_PROCESS}
    lots = all(line.source or line.charged_mg for line in plan.lines)
    weighed = all(line.charged_mg for line in plan.lines)
    done = [
        ("Lots chosen", lots),
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


def _next(batch: Batch, plan: planning.Plan, *, has_yield: bool) -> dict[str, str]:
    """Return the one thing to do next: heading, button and address."""
    number = [batch.number]
    if batch.status in {BatchStatus.PLANNED, BatchStatus.IN_PROCESS}:
        return _next_at_the_pot(batch, plan, has_yield=has_yield)
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
    batch: Batch, plan: planning.Plan, *, has_yield: bool
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
    # Potash comes last: its amount follows from the oils that were weighed.
    open_lines = sorted(
        (line for line in plan.lines if not line.charged_mg),
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
        OpenForm(request.POST or None, initial=request.GET.dict()),
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
    form = LotsForm(request.POST or None, lines=lines, on=today, initial=initial)
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
        context={"lead": "Released lots in date, first expired first."},
    )


@needs(Right.MAKER)
def charge(request: HttpRequest, number: str, position: int) -> HttpResponse:
    """Weigh a line of the formula in; position 0 takes in a batch for rework."""
    found = batch_by_number(number)
    line: FormulaLine | None = None
    if position:
        line = get_object_or_404(found.formula_version.lines, position=position)
    elif not found.is_rework:
        raise Http404
    plan = planning.plan_of(found)
    target = next((one for one in plan.lines if one.line == line), None)
    form = ChargeForm(
        request.POST or None,
        batch=found,
        line=line,
        on=local_day(timezone.now()),
        initial={"source": target.source.pk if target and target.source else None},
    )
    return acts.handle(
        request,
        form,
        do=lambda facts, submission: cooking.charge(
            by=user_of(request),
            batch=found,
            line=line,
            submission=submission,
            **facts,
        ),
        then=lambda _: page_of(found),
        said="The charge is recorded.",
        home=page_of(found),
        title=f"Weigh {target.name if target else 'a batch for rework'}",
        template="batches/charge.html",
        context={"batch": found, "target": target, "plan": plan},
    )


@needs(Right.MAKER)
def charge_amend(request: HttpRequest, number: str, pk: int) -> HttpResponse:
    """Correct a charge."""
    found = batch_by_number(number)
    row = get_object_or_404(Charge.objects.select_related("source"), batch=found, pk=pk)
    return _amend_weighing(request, found, row, cooking.amend_charge, "charge")


@needs(Right.MAKER)
def charge_void(request: HttpRequest, number: str, pk: int) -> HttpResponse:
    """Take a charge back; what it drew goes back to its stock."""
    found = batch_by_number(number)
    row = get_object_or_404(Charge.objects.select_related("source"), batch=found, pk=pk)
    return acts.handle(
        request,
        ReasonForm(request.POST or None),
        do=lambda facts, submission: cooking.amend_charge(
            by=user_of(request),
            charge=row,
            void=True,
            submission=submission,
            **facts,
        ),
        then=lambda _: page_of(found),
        said="The charge is taken back; it stays legible.",
        home=page_of(found),
        title="Take a charge back",
        submit="Take it back",
        context={"facts": _was(row), "danger": True},
    )


def _amend_weighing(
    request: HttpRequest, found: Batch, row: Any, service: Any, name: str
) -> HttpResponse:
    return acts.handle(
        request,
        AmendWeighingForm(request.POST or None),
        do=lambda facts, submission: service(
            by=user_of(request), submission=submission, **{name: row}, **facts
        ),
        then=lambda _: page_of(found),
        said="The correction is recorded; the old value stays legible.",
        home=page_of(found),
        title="Correct a weighing",
        submit="Record the correction",
        context={"facts": _was(row), "net_of": "gross_mg,tare_mg"},
    )


@needs(Right.MAKER)
def read(request: HttpRequest, number: str, characteristic: str) -> HttpResponse:
    """Record a temperature, a pH or the clarity."""
    found = batch_by_number(number)
    if characteristic not in Reading.Characteristic.values:
        raise Http404
    form = ReadingForm(
        request.POST or None,
        characteristic=characteristic,
        version=found.formula_version,
    )
    return acts.handle(
        request,
        form,
        do=lambda facts, submission: cooking.record_reading(
            by=user_of(request),
            batch=found,
            characteristic=characteristic,
            submission=submission,
            **facts,
        ),
        then=lambda _: page_of(found),
        said="The reading is recorded.",
        home=page_of(found),
        title=f"{found.number}: {Reading.Characteristic(characteristic).label}",
        context={"lead": READ_LEADS[characteristic]},
    )


@needs(Right.MAKER)
def reading_amend(request: HttpRequest, number: str, pk: int) -> HttpResponse:
    """Correct a reading."""
    found = batch_by_number(number)
    row = get_object_or_404(Reading, batch=found, pk=pk)
    form = AmendReadingForm(
        request.POST or None,
        characteristic=row.characteristic,
        version=found.formula_version,
    )
    return acts.handle(
        request,
        form,
        do=lambda facts, submission: cooking.amend_reading(
            by=user_of(request), reading=row, submission=submission, **facts
        ),
        then=lambda _: page_of(found),
        said="The correction is recorded; the old value stays legible.",
        home=page_of(found),
        title=f"Correct a reading: {row.get_characteristic_display()}",
        submit="Record the correction",
        context={"facts": [("Was", row.clarity or number_words(row.value))]},
    )


@needs(Right.MAKER)
def weigh(request: HttpRequest, number: str) -> HttpResponse:
    """Weigh what the batch made."""
    found = batch_by_number(number)
    return acts.handle(
        request,
        WeighForm(request.POST or None),
        do=lambda facts, submission: cooking.weigh_bulk(
            by=user_of(request), batch=found, submission=submission, **facts
        ),
        then=lambda _: page_of(found),
        said="The yield is recorded.",
        home=page_of(found),
        title=f"{found.number}: weigh the yield",
        context={
            "facts": [("Weighed in", mass(yield_of(found).theoretical_mg))],
            "net_of": "gross_mg,tare_mg",
            "cautions": ["unreleased"],
        },
    )


@needs(Right.MAKER)
def weigh_amend(request: HttpRequest, number: str, pk: int) -> HttpResponse:
    """Correct the weighing of the yield."""
    found = batch_by_number(number)
    row = get_object_or_404(BulkWeighing, batch=found, pk=pk)
    return _amend_weighing(request, found, row, cooking.amend_bulk, "weighing")


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
        context={
            "lead": "Nothing can be weighed in afterwards. Results can still be added"
            " until a reviewer signs."
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
            "names": _names(stock),
            "bottle_count": bottles.count(),
            "bottles": bottles[:200],
        },
    )


def _names(stock: Any) -> dict[int, str]:
    back, forwards = trace.trace(stock), trace.track(stock)
    names = {lot.pk: lot.code for lot in [*back.lots, *forwards.lots]}
    names.update({one.pk: one.number for one in [*back.batches, *forwards.batches]})
    return names
