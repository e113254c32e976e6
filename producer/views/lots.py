"""Goods in: raw lots, certificates, decisions, the ledger."""

from __future__ import annotations

from django.http import FileResponse, Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse

from producer.forms.lots import (
    CountForm,
    DisposalForm,
    ReceiveForm,
)
from producer.models import Attachment, Material, RawLot, Right, Supplier
from producer.services import attachments, intake, stock
from producer.tables.base import show
from producer.tables.lots import MovementTable, RawLotTable
from producer.templatetags.kettlebook import mass
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
    rows = RawLot.objects.listed()
    if status in RawLot.Status.values:
        rows = rows.filter(status=status)
    return render(
        request,
        "producer/lots.html",
        {
            "table": show(request, RawLotTable(rows)),
            "status": status,
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
                    found.stock.movements.select_related("entered_by__person")
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
        said=lambda made: (
            f"{made.code} is booked in. Write this code on the container. The lot is"
            " held until a reviewer releases it."
        ),
        home=reverse("producer:lots"),
        title="Goods in: receive a raw lot",
        submit="Receive this lot",
    )


@needs(Right.MAKER)
def lot_count(request: HttpRequest, code: str) -> HttpResponse:
    """Set the book to what a stock-take counted."""
    found = lot_by_code(code)
    return acts.handle(
        request,
        CountForm(request.POST or None),
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
    return acts.handle(
        request,
        DisposalForm(request.POST or None),
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
            "cautions": ["waste"],
            "danger": True,
        },
    )


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
