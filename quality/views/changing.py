"""Correct an entry of a signed batch: what that does is said before it is done."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.db.models import Model
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils.html import format_html

from batches.forms.another_lot import AmendChargeForm
from batches.forms.making import AmendReadingForm, AmendWeighingForm
from batches.forms.mending import AmendLossForm
from batches.models import Batch, BulkWeighing, Charge, Loss, Reading, Titration
from batches.views.batches import batch_by_number
from batches.views.pot import charge_was, said_of_amended
from producer.forms.base import ActForm, ReasonForm
from producer.templatetags.kettlebook import mass
from producer.templatetags.kettlebook import number as number_words
from producer.views import acts
from producer.views.acts import needs, user_of
from quality.services import changing

Facts = list[tuple[str, str]]
SAID = (
    "The correction is recorded; the old value stays legible. The signature is void:"
    " a reviewer reads the batch again."
)


@needs(*changing.RIGHTS)
def change_charge(request: HttpRequest, number: str, pk: int) -> HttpResponse:
    """Correct the masses of a charge, or its lot."""
    batch = batch_by_number(number)
    rows = Charge.objects.select_related(
        "source__lot__material", "container__lot__stock"
    )
    row = get_object_or_404(rows, batch=batch, pk=pk)
    form = AmendChargeForm(request.POST or None, charge=row)
    service = _service(changing.change_charge, charge=row)
    return _handle(request, batch, form, service, "charge", charge_was(row))


@needs(*changing.RIGHTS)
def void_charge(request: HttpRequest, number: str, pk: int) -> HttpResponse:
    """Take a charge back; what it drew goes back to its stock."""
    batch = batch_by_number(number)
    row = get_object_or_404(Charge.objects.select_related("source"), batch=batch, pk=pk)
    service = _service(changing.change_charge, charge=row, void=True)
    return _take_back(request, batch, service, "charge", _weighed(row))


@needs(*changing.RIGHTS)
def change_reading(request: HttpRequest, number: str, pk: int) -> HttpResponse:
    """Correct a reading."""
    batch = batch_by_number(number)
    row = get_object_or_404(Reading, batch=batch, pk=pk)
    form = AmendReadingForm(
        request.POST or None,
        characteristic=row.characteristic,
        version=batch.formula_version,
    )
    service = _service(changing.change_reading, reading=row)
    name = f"reading of {row.get_characteristic_display()}"
    return _handle(request, batch, form, service, name, _read(row))


@needs(*changing.RIGHTS)
def void_reading(request: HttpRequest, number: str, pk: int) -> HttpResponse:
    """Take a reading back."""
    batch = batch_by_number(number)
    row = get_object_or_404(Reading, batch=batch, pk=pk)
    service = _service(changing.change_reading, reading=row, void=True)
    name = f"reading of {row.get_characteristic_display()}"
    return _take_back(request, batch, service, name, _read(row))


@needs(*changing.RIGHTS)
def change_weighing(request: HttpRequest, number: str, pk: int) -> HttpResponse:
    """Correct the weighing of the yield."""
    batch = batch_by_number(number)
    row = get_object_or_404(BulkWeighing, batch=batch, pk=pk)
    form = AmendWeighingForm(request.POST or None)
    service = _service(changing.change_weighing, weighing=row)
    return _handle(request, batch, form, service, "yield", _weighed(row))


@needs(*changing.RIGHTS)
def change_loss(request: HttpRequest, number: str, pk: int) -> HttpResponse:
    """Correct a loss."""
    batch = batch_by_number(number)
    row = get_object_or_404(Loss, batch=batch, pk=pk)
    form = AmendLossForm(request.POST or None)
    service = _service(changing.change_loss, loss=row)
    return _handle(request, batch, form, service, "loss", _lost(row))


@needs(*changing.RIGHTS)
def void_loss(request: HttpRequest, number: str, pk: int) -> HttpResponse:
    """Take a loss back."""
    batch = batch_by_number(number)
    row = get_object_or_404(Loss, batch=batch, pk=pk)
    service = _service(changing.change_loss, loss=row, void=True)
    return _take_back(request, batch, service, "loss", _lost(row))


@needs(*changing.RIGHTS)
def void_titration(request: HttpRequest, number: str, pk: int) -> HttpResponse:
    """Take a titration of the free alkali back."""
    batch = batch_by_number(number)
    rows = Titration.objects.select_related("stock__batch")
    row = get_object_or_404(rows, stock_id=batch.pk, pk=pk)
    service = _service(changing.void_titration, titration=row)
    return _take_back(request, batch, service, "titration", [("It said", row.sentence)])


Service = Callable[[HttpRequest], Callable[[acts.Facts, acts.Submission], Model]]


def _service(service: Any, **about: Any) -> Service:
    """Return a service bound to its row, waiting for the form."""
    return lambda request: (
        lambda facts, submission: service(
            by=user_of(request), submission=submission, **about, **facts
        )
    )


def _take_back(
    request: HttpRequest, batch: Batch, service: Service, name: str, was: Facts
) -> HttpResponse:
    form = ReasonForm(request.POST or None)
    return _handle(request, batch, form, service, name, was, void=True)


def _handle(
    request: HttpRequest,
    batch: Batch,
    form: ActForm,
    service: Service,
    name: str,
    was: Facts,
    *,
    void: bool = False,
) -> HttpResponse:
    home = reverse("quality:review", args=[batch.number])
    is_signed = changing.is_closed(batch)
    return acts.handle(
        request,
        form,
        do=service(request),
        then=lambda _: home,
        said=lambda made: _said(batch, made),
        home=home,
        title=f"{batch.number}, {'signed' if is_signed else 'not signed'}: "
        + (f"take back a {name}" if void else f"correct a {name}"),
        submit="Take it back" if void else "Record the correction",
        template="quality/change.html",
        context={
            "batch": batch,
            "foreseen": changing.foreseen(batch),
            "is_signed": is_signed,
            "facts": was,
            "danger": True,
            "net_of": "gross_mg,tare_mg" if "gross_mg" in form.fields else "",
        },
    )


def _said(batch: Batch, made: Model) -> str:
    """Say what the correction did, and first of all if bottles may burn somebody."""
    said = said_of_amended(SAID, made) if isinstance(made, Charge) else SAID
    out = changing.caustic_and_out(batch)
    if not out:
        return said
    return format_html(
        "{} <strong>Bottles that are out may be caustic: {}.</strong> By the weighings"
        " as they stand now so much potassium hydroxide is left over. <a"
        ' href="{}">See where they are, and decide about a recall at once</a>.',
        said,
        out,
        reverse("quality:affected", args=[batch.number]),
    )


def _weighed(row: Charge | BulkWeighing) -> Facts:
    return [
        ("Gross was", mass(row.gross_mg)),
        ("Tare was", mass(row.tare_mg)),
        ("Net was", mass(row.net_mg)),
    ]


def _read(row: Reading) -> Facts:
    said = row.get_clarity_display() if row.value is None else number_words(row.value)
    return [("Was", said), ("How", row.method)]


def _lost(row: Loss) -> Facts:
    return [
        ("Where it went", row.get_kind_display()),
        ("How much it was", mass(row.mass_mg)),
        ("±", mass(row.half_width_mg)),
    ]
