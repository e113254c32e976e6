"""Weighings in two parts, and the undoing of what was just entered."""

from __future__ import annotations

from typing import cast

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils import timezone

from batches.forms.charging import BeginForm, FinishForm, UndoForm
from batches.forms.making import ChargeForm, StockChoice
from batches.forms.papers import ask_when
from batches.models import Batch, Formula, FormulaLine, WeighingStart
from batches.services import cooking, half_weighings, planning, proposing, undoing
from batches.views import papers
from batches.views.batches import batch_by_number, page_of
from batches.views.keeping import Keeping
from producer.forms.base import ReasonForm
from producer.models import Container, Material, Right, Stock
from producer.services.checks import local_day
from producer.templatetags.kettlebook import mass
from producer.views import acts
from producer.views.acts import needs, user_of

DIFFERENCE, VESSEL = "difference", "vessel"


def line_at(batch: Batch, position: int) -> FormulaLine | None:
    """Return a line of the batch; 0 is none, for the batch that a rework takes in."""
    if position:
        return get_object_or_404(batch.formula_version.lines, position=position)
    if not batch.is_rework:
        raise Http404
    return None


def is_by_difference(request: HttpRequest, target: planning.PlanLine | None) -> bool:
    """Say how the page asks for a mass: as its address says, else as is usual.

    Potash from a container is weighed by the container before and after: that is the
    honest figure, for what stays in the jug was drawn too.
    """
    if asked := request.GET.get("by", ""):
        return asked == DIFFERENCE
    if target is None or target.kind != Material.Kind.POTASH or target.source is None:
        return False
    return Container.objects.filter(lot_id=target.source.pk).exists()


def meant_for_others(form: ChargeForm) -> list[str]:
    """Say of each stock offered what other batches mean to use, if any do."""
    field = cast("StockChoice", form.fields["source"])
    meant, offered = field.meant, field.queryset
    if not meant or offered is None:
        return []
    return [
        f"{stock.code}: {proposing.meant_words(stock.on_hand_mg, meant[stock.pk])}"
        for stock in offered.filter(pk__in=meant)
    ]


def first_source(target: planning.PlanLine | None) -> Stock | None:
    """Return what a line is weighed from to begin with, if a lot was chosen."""
    return target.source if target else None


@needs(Right.MAKER)
def charge_begin(request: HttpRequest, number: str, position: int) -> HttpResponse:
    """Store the tare, or the container before, of a weighing that is finished later."""
    found = batch_by_number(number)
    line = line_at(found, position)
    plan = planning.plan_of(found)
    target = next((one for one in plan.lines if one.line == line), None)
    sheet = papers.sheet_of(request, found)
    source = first_source(target)
    form = BeginForm(
        request.POST or None,
        batch=found,
        line=line,
        on=local_day(timezone.now()),
        initial={
            "source": source and source.pk,
            "by_difference": is_by_difference(request, target),
        },
    )
    ask_when(form, sheet)
    title = f"Begin to weigh {target.name if target else 'a batch for rework'}"
    return acts.handle(
        request,
        form,
        do=lambda facts, submission: half_weighings.begin(
            by=user_of(request),
            batch=found,
            line=line,
            transcription=sheet,
            submission=submission,
            **facts,
        ),
        then=lambda _: papers.home_of(found, sheet),
        said="Stored. The weighing stands incomplete until you finish it here.",
        home=reverse("batches:charge", args=[found.number, position]),
        title=title,
        submit="Store it now",
        kept=Keeping(request, found, "half weighing", title=title),
        context={
            "lead": "It is kept as an incomplete weighing. Nothing is drawn and no net"
            " is made up until it is finished or taken back.",
            "keep_as": title,
            "cautions": _cautions(found, target),
            **papers.band(found, sheet),
        },
    )


def _cautions(batch: Batch, target: planning.PlanLine | None) -> list[str]:
    if target and target.kind == Material.Kind.POTASH:
        return ["potash"]
    return [] if batch.kind == Formula.Kind.COOK else ["hot_work"]


@needs(Right.MAKER)
def start_finish(request: HttpRequest, number: str, pk: int) -> HttpResponse:
    """Finish a weighing that was begun."""
    found = batch_by_number(number)
    start = _start(found, pk)
    plan = planning.plan_of(found)
    target = next((one for one in plan.lines if one.line == start.line), None)
    sheet = papers.sheet_of(request, found)
    form = FinishForm(request.POST or None, start=start)
    ask_when(form, sheet)
    title = f"Finish weighing {target.name if target else start.source.code}"
    return acts.handle(
        request,
        form,
        do=lambda facts, submission: cooking.charge(
            by=user_of(request),
            batch=found,
            line=start.line,
            source=start.source,
            scale=start.scale,
            submission=submission,
            **papers.charged_from(facts, sheet),
        ),
        then=lambda _: papers.home_of(found, sheet),
        said="The weighing is finished and the charge is recorded.",
        home=papers.home_of(found, sheet),
        title=title,
        submit="Record this charge",
        template="batches/charge.html",
        kept=Keeping(request, found, "charge", title=title, source=start.source),
        context={
            "batch": found,
            "target": target,
            "plan": plan,
            "facts": _stored(start),
            "keep_as": title,
            **papers.band(found, sheet),
        },
    )


@needs(Right.MAKER)
def start_void(request: HttpRequest, number: str, pk: int) -> HttpResponse:
    """Take a weighing back that was begun."""
    found = batch_by_number(number)
    start = _start(found, pk)
    return acts.handle(
        request,
        ReasonForm(request.POST or None),
        do=lambda facts, submission: half_weighings.take_back(
            by=user_of(request), start=start, submission=submission, **facts
        ),
        then=lambda _: page_of(found),
        said="The half weighing is taken back; it stays legible.",
        home=page_of(found),
        title="Take a half weighing back",
        submit="Take it back",
        context={"facts": _stored(start), "danger": True},
    )


@needs(Right.MAKER)
def undo(request: HttpRequest, number: str) -> HttpResponse:
    """Take back what this account has just entered, with one tap."""
    found = batch_by_number(number)
    offer = undoing.offered(found, user_of(request))
    row = offer.row
    form = UndoForm(
        request.POST or None, initial={"entry": undoing.key_of(row) if row else ""}
    )
    return acts.handle(
        request,
        form,
        do=lambda facts, submission: undoing.undo(
            by=user_of(request), batch=found, submission=submission, **facts
        ),
        then=lambda _: page_of(found),
        said=f"Undone: {undoing.words_of(row)}. It stays legible as taken back."
        if row
        else "",
        home=page_of(found),
        title="Undo the last entry",
        submit="Undo it",
        context={
            "lead": f"Takes back: {undoing.words_of(row)}."
            if row
            else undoing.ABOVE
            if offer.above
            else "There is nothing to undo: the last entry is not yours, was corrected,"
            " or is more than ten minutes old. Correct it with a reason."
        },
    )


def _start(batch: Batch, pk: int) -> WeighingStart:
    rows = WeighingStart.objects.select_related(
        "batch__stock",
        "line__material",
        "line__source_formula",
        "source__lot",
        "container__lot__stock",
        "vessel",
        "scale",
        "entered_by__person",
    )
    return get_object_or_404(rows, batch=batch, pk=pk)


def _stored(row: WeighingStart) -> list[tuple[str, str]]:
    first = "The container before" if row.by_difference else "Tare"
    facts = [
        ("From", row.container.code if row.container else row.source.code),
        (first, mass(row.first_mg)),
        ("Scale", row.scale.name),
    ]
    return facts + ([("Vessel", row.vessel.name)] if row.vessel else [])
