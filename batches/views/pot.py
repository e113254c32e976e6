"""At the pot: weigh in, read, weigh out, and correct what was written down."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import timezone

from batches.forms.another_lot import AmendChargeForm
from batches.forms.making import (
    AmendReadingForm,
    AmendWeighingForm,
    ChargeForm,
    ReadingForm,
    YieldForm,
)
from batches.forms.papers import ask_when
from batches.forms.typed import typed
from batches.models import (
    Batch,
    BulkWeighing,
    Charge,
    Reading,
    Titration,
    Transcription,
)
from batches.services import cooking, planning, proposing, sources
from batches.services.cooking import another_lot
from batches.services.entries import Entries
from batches.services.results import yield_of
from batches.services.tare_question import is_impossible, tare_question
from batches.views import papers
from batches.views.batches import batch_by_number, page_of
from batches.views.charging import is_by_difference, line_at, meant_for_others
from batches.views.keeping import SETTLES, Keeping
from producer.forms.base import ReasonForm
from producer.models import Material, Right, Stock
from producer.services.checks import local_day
from producer.templatetags.kettlebook import mass
from producer.templatetags.kettlebook import number as number_words
from producer.views import acts
from producer.views.acts import needs, user_of

# A charge of potash further from its target is told so; common practice, no source.
NEAR_TARGET = Decimal("0.01")
READ_LEADS = {
    "temperature": "In the middle of the pot, stirred.",
    "ph": "Of the prepared solution, never of the paste itself.",
    "clarity": "pH cannot see unreacted oil; a portion in hot distilled water can.",
}


@needs(Right.MAKER)
def charge(request: HttpRequest, number: str, position: int) -> HttpResponse:
    """Weigh a line of the formula in; position 0 takes in a batch for rework."""
    found = batch_by_number(number)
    line = line_at(found, position)
    plan = planning.plan_of(found)
    target = next((one for one in plan.lines if one.line == line), None)
    name = target.name if target else "a batch for rework"
    sheet = papers.sheet_of(request, found)
    form = ChargeForm(
        request.POST or None,
        batch=found,
        line=line,
        on=local_day(timezone.now()),
        initial={
            "source": target.source.pk if target and target.source else None,
            "by_difference": is_by_difference(request, target),
        },
    )
    ask_when(form, sheet)
    return acts.handle(
        request,
        form,
        do=lambda facts, submission: cooking.charge(
            by=user_of(request),
            batch=found,
            line=line,
            submission=submission,
            **papers.charged_from(facts, sheet),
        ),
        then=lambda _: papers.home_of(found, sheet),
        said=_said_of_charge,
        home=papers.home_of(found, sheet),
        title=f"Weigh {name}",
        template="batches/charge.html",
        kept=Keeping(request, found, "charge", title=f"Weigh {name}"),
        context={
            "keep_as": name,
            "batch": found,
            "target": target,
            "plan": plan,
            "begin": reverse("batches:charge_begin", args=[found.number, position]),
            "others": meant_for_others(form),
            "blocked": _blocked(request, target, sheet),
            **papers.band(found, sheet),
        },
    )


def _blocked(
    request: HttpRequest,
    target: planning.PlanLine | None,
    sheet: Transcription | None,
) -> str:
    """Return why the lot chosen cannot be drawn from now, or nothing.

    What was weighed already, on paper or by a device, is entered all the same: its form
    is shown, and the lot is chosen there.
    """
    if request.method == "POST" or sheet or SETTLES in request.GET:
        return ""
    if target is None or target.source is None:
        return ""
    return sources.why_not(target.source, local_day(timezone.now()))


def _said_of_charge(row: Charge) -> str:
    """Say that it is recorded, and what is odd: taken from others, off the target.

    The target may have moved while it was weighed: a discount was set, an oil mended.
    """
    recorded = "The charge is recorded."
    if others := proposing.taken_from_others(row):
        recorded = acts.Mind(f"{recorded} {others}")
    plan = planning.plan_of(row.batch)
    line = next((one for one in plan.lines if one.line.pk == row.line_id), None)
    if line is None or line.kind != Material.Kind.POTASH or not line.target_mg:
        return recorded
    off = line.charged_mg - line.target_mg
    if abs(off) <= line.target_mg * NEAR_TARGET:
        return recorded
    more_or_less = "more" if off > 0 else "less"
    return acts.Mind(
        f"{recorded} {mass(line.charged_mg)} of {line.name} in all is"
        f" {mass(abs(off))} {more_or_less} than the {mass(line.target_mg)} that the"
        " oils and the lye discount ask for now."
    )


def _charge_of(found: Batch, pk: int) -> Charge:
    rows = Charge.objects.select_related(
        "source__lot__material", "container__lot__stock"
    )
    return get_object_or_404(rows, batch=found, pk=pk)


@needs(Right.MAKER)
def charge_amend(request: HttpRequest, number: str, pk: int) -> HttpResponse:
    """Correct a charge."""
    found = batch_by_number(number)
    row = _charge_of(found, pk)
    form = AmendChargeForm(
        request.POST or None, charge=row, initial={"tare_mg": typed(row.tare_mg)}
    )
    return acts.handle(
        request,
        form,
        do=lambda facts, submission: cooking.amend_charge(
            by=user_of(request), submission=submission, charge=row, **facts
        ),
        then=lambda _: page_of(found),
        said=lambda made: said_of_amended(
            "The correction is recorded; the old value stays legible.", made
        ),
        home=page_of(found),
        title="Correct a charge",
        submit="Record the correction",
        context={"facts": charge_was(row), "net_of": "gross_mg,tare_mg"},
    )


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
        AmendWeighingForm(
            request.POST or None, initial={"tare_mg": typed(row.tare_mg)}
        ),
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
    measured = Reading.Characteristic(characteristic).label
    form = ReadingForm(
        request.POST or None,
        characteristic=characteristic,
        version=found.formula_version,
    )
    sheet = papers.sheet_of(request, found)
    ask_when(form, sheet)
    return acts.handle(
        request,
        form,
        do=lambda facts, submission: cooking.record_reading(
            by=user_of(request),
            batch=found,
            characteristic=characteristic,
            transcription=sheet,
            submission=submission,
            **facts,
        ),
        then=lambda _: papers.home_of(found, sheet),
        said=lambda row: _said_of_reading("The reading is recorded.", row),
        home=papers.home_of(found, sheet),
        title=f"{found.number}: {measured}",
        template="batches/read.html",
        kept=Keeping(request, found, characteristic, title=str(measured)),
        context={
            "lead": READ_LEADS[characteristic],
            "characteristic": characteristic,
            **papers.band(found, sheet),
        },
    )


def _said_of_reading(recorded: str, row: Reading) -> str:
    """Say that it is recorded, and at once where it lies outside its limit."""
    limit = row.batch.formula_version.temperature_limit
    if row.characteristic == "temperature" and row.value and row.value > limit:
        return acts.Mind(
            f"{recorded} {number_words(row.value)} °C is above the limit of"
            f" {number_words(limit)} °C: off the heat, stir, and read again."
        )
    return said_of_result(recorded, row)


def said_of_result(recorded: str, row: Reading | Titration) -> str:
    """Say that a result is recorded; one outside its limit is to be minded.

    By a template: it may ask the judgement, and this app may not.
    """
    facts = {"recorded": recorded, "row": row}
    words = render_to_string("batches/_said_of_result.txt", facts).strip()
    return words if words == recorded.strip() else acts.Mind(words)


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
        said=lambda made: _said_of_reading(
            "The correction is recorded; the old value stays legible.", made
        ),
        home=page_of(found),
        title=f"Correct a reading: {row.get_characteristic_display()}",
        submit="Record the correction",
        context={"facts": [("Was", row.clarity or number_words(row.value))]},
    )


@needs(Right.MAKER)
def weigh(request: HttpRequest, number: str) -> HttpResponse:
    """Weigh what the batch made."""
    found = batch_by_number(number)
    sheet = papers.sheet_of(request, found)
    form = YieldForm(request.POST or None)
    ask_when(form, sheet)
    return acts.handle(
        request,
        form,
        do=lambda facts, submission: cooking.weigh_bulk(
            by=user_of(request),
            batch=found,
            transcription=sheet,
            submission=submission,
            **facts,
        ),
        then=lambda _: papers.home_of(found, sheet),
        said=_said_of_yield,
        home=papers.home_of(found, sheet),
        title=f"{found.number}: weigh the yield",
        kept=Keeping(request, found, "yield", title="Weigh the yield"),
        context={
            "keep_as": "the yield",
            "facts": [("Weighed in", mass(yield_of(found).theoretical_mg))],
            "net_of": "gross_mg,tare_mg",
            "cautions": ["unreleased"],
            **papers.band(found, sheet),
        },
    )


def _said_of_yield(row: BulkWeighing) -> str:
    """Say that it is recorded, and at once what to do where it cannot be true."""
    entries = Entries(row.batch)
    if not is_impossible(entries):
        return "The yield is recorded."
    return acts.Mind(
        "The yield is recorded, but more came out than went in: a tare or a unit is"
        f" wrong, and the batch cannot be released so. {tare_question(entries)}"
    )


@needs(Right.MAKER)
def weigh_amend(request: HttpRequest, number: str, pk: int) -> HttpResponse:
    """Correct the weighing of the yield."""
    found = batch_by_number(number)
    row = get_object_or_404(BulkWeighing, batch=found, pk=pk)
    return _amend_weighing(request, found, row, cooking.amend_bulk, "weighing")


def charge_was(row: Charge) -> list[tuple[str, str]]:
    """Return what a charge was written down as."""
    lot = row.source.code
    if row.source.kind == Stock.Kind.LOT:
        lot += f", supplier's lot {row.source.lot.supplier_lot}"
    container = [("Container was", row.container.code)] if row.container else []
    return [("Lot was", lot), *container, *_was(row)]


def said_of_amended(recorded: str, row: Charge) -> str:
    """Say that a charge is corrected, and which lot to count after that."""
    counted = another_lot.counted_since(row)
    if not counted:
        return recorded
    return acts.Mind(
        f"{recorded} Counted since it was weighed in: {', '.join(counted)}. That count"
        " took the wrong number into the book, so count again."
    )


def _was(row: Charge | BulkWeighing) -> list[tuple[str, str]]:
    return [
        ("Gross was", mass(row.gross_mg)),
        ("Tare was", mass(row.tare_mg)),
        ("Net was", mass(row.net_mg)),
    ]
