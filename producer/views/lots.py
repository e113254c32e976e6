"""Goods in: raw lots, certificates, decisions, the ledger."""

from __future__ import annotations

from django.db.models import Exists, OuterRef, Q
from django.http import FileResponse, Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse

from producer.forms.lots import (
    CountForm,
    DisposalForm,
    PriceForm,
    ReceiveForm,
)
from producer.forms.store import offer_containers
from producer.models import (
    Attachment,
    Container,
    Material,
    Premises,
    RawLot,
    Right,
    Supplier,
)
from producer.services import attachments, containers, intake, prices, stock
from producer.tables.base import show
from producer.tables.lots import MovementTable, RawLotTable
from producer.templatetags.kettlebook import mass, money
from producer.views import acts
from producer.views.acts import needs, read_only, user_of


def lot_by_code(code: str) -> RawLot:
    """Return the lot with this receiving code, or answer 404."""
    return get_object_or_404(RawLot.objects.listed(), stock__code=code.upper())


def page_of(lot: RawLot) -> str:
    """Return the address of a lot's page."""
    return reverse("producer:lot", args=[lot.code])


@read_only
def lots(request: HttpRequest) -> HttpResponse:
    """List raw lots, all or those of one status."""
    status = request.GET.get("status", "")
    place = request.GET.get("place", "").strip()
    rows = RawLot.objects.listed()
    if status in RawLot.Status.values:
        rows = rows.filter(status=status)
    if place:
        rows = rows.filter(
            Q(place__icontains=place)
            | Exists(
                Container.objects.filter(lot=OuterRef("pk"), place__icontains=place)
            )
        )
    return render(
        request,
        "producer/lots.html",
        {
            "table": show(request, RawLotTable(rows)),
            "status": status,
            "place": place,
            "statuses": RawLot.Status.choices,
            "ready": Material.objects.exists() and Supplier.objects.exists(),
        },
    )


@read_only
def lot(request: HttpRequest, code: str) -> HttpResponse:
    """Show a lot: what it is, its certificates, decisions and ledger."""
    found = lot_by_code(code)
    return render(
        request,
        "producer/lot.html",
        {
            "lot": found,
            "certificates": found.certificates.select_related(
                "attachment", "entered_by__person"
            ).order_by("-version"),
            "changes": found.status_changes.select_related("entered_by__person"),
            "table": show(
                request,
                MovementTable(
                    found.stock.movements.select_related(
                        "entered_by__person", "container"
                    )
                ),
            ),
            "can_decide": any(old == found.status for old, _ in intake.LOT_MOVES),
        },
    )


@needs(Right.MAKER)
def lot_receive(request: HttpRequest) -> HttpResponse:
    """Book a delivery in."""
    return acts.handle(
        request,
        ReceiveForm(request.POST or None),
        do=lambda facts, submission: intake.receive_lot(
            by=user_of(request), submission=submission, **facts
        ),
        then=page_of,
        said=_booked_in,
        home=reverse("producer:lots"),
        title="Goods in: receive a raw lot",
        submit="Receive this lot",
    )


def _booked_in(lot: RawLot) -> str:
    """Return what to write on what came in, and what is in no container."""
    there = containers.containers_of(lot)
    if not there:
        write = "Write this code on the container."
    else:
        last = f" to /{there[-1].number}" if there[1:] else ""
        write = f"Write {there[0].code}{last} on the containers."
    return (
        f"{lot.code} is booked in. {write}{containers.outside_words(lot)} The lot is"
        " held until a reviewer releases it."
    )


@needs(Right.MAKER)
def lot_count(request: HttpRequest, code: str) -> HttpResponse:
    """Set the book to what a stock-take counted."""
    found = lot_by_code(code)
    form = CountForm(request.POST or None)
    offer_containers(form, found.pk, nothing="all of the lot", before="counted_mg")
    return acts.handle(
        request,
        form,
        do=lambda facts, submission: stock.adjust(
            by=user_of(request), lot=found, submission=submission, **facts
        ),
        then=lambda _: page_of(found),
        said="The book now says what was counted.",
        home=page_of(found),
        title=f"Stock-take of {found.code}",
        submit="Adjust the book",
        context={
            "lead": f"The book says {mass(found.stock.on_hand_mg)}. Weigh the container"
            " and take the tare off."
        },
    )


@needs(Right.MAKER)
def lot_dispose(request: HttpRequest, code: str) -> HttpResponse:
    """Take some of a lot out of stock for good."""
    found = lot_by_code(code)
    form = DisposalForm(request.POST or None)
    offer_containers(
        form, found.pk, nothing="what is in no container", before="amount_mg"
    )
    return acts.handle(
        request,
        form,
        do=lambda facts, submission: stock.dispose(
            by=user_of(request), lot=found, submission=submission, **facts
        ),
        then=lambda _: page_of(found),
        said="The disposal is recorded.",
        home=page_of(found),
        title=f"Dispose of some of {found.code}",
        submit="Record the disposal",
        context={
            "lead": f"{mass(found.stock.on_hand_mg)} on hand.",
            "cautions": ["potash", "waste"] if _is_potash(found) else ["waste"],
            "danger": True,
        },
    )


@needs(Right.MAKER)
def lot_price(request: HttpRequest, code: str) -> HttpResponse:
    """Set what was paid for a lot."""
    found = lot_by_code(code)
    known = money(found.paid_hundredths, Premises.objects.first())
    return acts.handle(
        request,
        PriceForm(request.POST or None),
        do=lambda facts, submission: prices.set_price(
            by=user_of(request), lot=found, submission=submission, **facts
        ),
        then=lambda _: page_of(found),
        said="The price is set. The costs of what was made from the lot follow.",
        home=page_of(found),
        title=f"Price of {found.code}",
        submit="Set the price",
        context={"facts": [("Paid for all of it", known)]},
    )


def _is_potash(lot: RawLot) -> bool:
    return lot.material.kind == Material.Kind.POTASH


@read_only
def attachment(request: HttpRequest, pk: int) -> FileResponse:
    """Hand out an uploaded file as a download, never as a page."""
    found = get_object_or_404(Attachment, pk=pk)
    try:
        content = attachments.path_of(found).open("rb")
    except FileNotFoundError as error:
        raise Http404("The file is missing; fetch it from a backup.") from error
    return FileResponse(
        content,
        as_attachment=True,
        filename=found.original_name,
        content_type=found.content_type,
    )
