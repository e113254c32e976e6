"""At the bench: titrate a lot or a batch, weigh containers."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse

from batches.chemistry.replicates import Kind
from batches.forms.bench import AmendContainerForm, ContainerForm, TitrateForm
from batches.models import ContainerWeighing, Titration
from batches.services import containers, sources, titrating
from batches.views.pot import said_of_result
from producer.forms.base import ReasonForm
from producer.models import Material, RawLot, Right, Stock
from producer.services.containers import containers_of
from producer.templatetags.kettlebook import mass
from producer.views import acts
from producer.views.acts import needs, user_of

if TYPE_CHECKING:
    from producer.services.container_books import WithBook

# What each kind says above its form: how it is done, its formula, where that is from.
LEADS = {
    Kind.POTASH: (
        "About 1.5 g in 40 ml of boiled and cooled water. Acid until phenolphthalein"
        " loses its pink: read. Methyl orange in, acid until it turns: read again. For"
        " potash and lye only; in soap it is not valid, soap takes acid itself."
    ),
    Kind.SAPONIFICATION_VALUE: (
        "Boil 1.5 to 2 g of oil for an hour with 25 ml of alcoholic potash of"
        " 0.5 mol/l, and the same without oil as the blank. Titrate what is left with"
        " acid of 0.5 mol/l to phenolphthalein. Weigh so that the sample takes about"
        " half of what the blank takes."
    ),
    Kind.ACID_VALUE: (
        "Dissolve the oil in alcohol that was made neutral to phenolphthalein. Alkali"
        " of 0.1 mol/l until the pink stays for 15 seconds."
    ),
    Kind.FREE_ALKALI: (
        "Dissolve about 10 g of paste in 100 ml of hot alcohol that was made neutral to"
        " phenolphthalein. Acid of 0.1 mol/l until the pink is gone. Never in water:"
        " there the acid goes on to split the soap."
    ),
}
FORMULAS = {
    Kind.POTASH: (
        "hydroxide 5.61·(2a − b)·c/m, carbonate 13.82·(b − a)·c/m, percent",
        "USP–NF, assay of potassium hydroxide; a first reading, b all the acid",
    ),
    Kind.SAPONIFICATION_VALUE: (
        "56.1·c·(blank − sample)/m, mg KOH per gram",
        "ISO 3657",
    ),
    Kind.ACID_VALUE: ("56.1·c·V/m, mg KOH per gram", "ISO 660, EN 14104"),
    Kind.FREE_ALKALI: (
        "5.61·c·V/m, percent of KOH",
        "ISO 456, ethanol method",
    ),
}


def stock_by_code(code: str) -> Stock:
    """Return the lot's or batch's stock with this code, or answer 404."""
    return get_object_or_404(Stock, code=code.upper())


def lot_by_code(code: str) -> RawLot:
    """Return the lot with this receiving code, or answer 404."""
    return get_object_or_404(RawLot.objects.listed(), stock__code=code.upper())


def page_of(stock: Stock) -> str:
    """Return the address of the page of a lot or a batch."""
    name = "batches:batch" if stock.kind == Stock.Kind.BATCH else "producer:lot"
    return reverse(name, args=[stock.code])


@needs(Right.MAKER)
def titrate(request: HttpRequest, code: str, kind: str) -> HttpResponse:
    """Record a titration with its samples."""
    found = stock_by_code(code)
    if kind not in titrating.kinds_for(found):
        raise Http404
    what = Kind(kind)
    formula, source = FORMULAS[what]
    cautions = ["titration"]
    if what is Kind.POTASH:
        cautions.append("potash")
    return acts.handle(
        request,
        TitrateForm(request.POST or None, kind=what),
        do=lambda facts, submission: titrating.record_titration(
            by=user_of(request),
            stock=found,
            kind=what,
            submission=submission,
            **facts,
        ),
        then=lambda _: page_of(found),
        said=lambda made: said_of_result(made.sentence, made),
        home=page_of(found),
        title=f"{found.code}: titrate {titrating.NAMES[what].lower()}",
        context={
            "lead": LEADS[what],
            "cautions": cautions,
            "facts": [("Formula", formula), ("Source", source)],
        },
    )


@needs(Right.MAKER)
def titration_void(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    """Take a titration back."""
    found = stock_by_code(code)
    row = get_object_or_404(Titration, stock=found, pk=pk)
    return acts.handle(
        request,
        ReasonForm(request.POST or None),
        do=lambda facts, submission: titrating.take_back_titration(
            by=user_of(request), titration=row, submission=submission, **facts
        ),
        then=lambda _: page_of(found),
        said="The titration is taken back; it stays legible.",
        home=page_of(found),
        title="Take a titration back",
        submit="Take it back",
        context={"facts": [("Was", row.sentence)], "danger": True},
    )


@needs(Right.MAKER)
def container(request: HttpRequest, code: str) -> HttpResponse:
    """Weigh a container of a lot, or all of them, beside the book."""
    found = lot_by_code(code)
    is_potash = found.material.kind == Material.Kind.POTASH
    there = containers_of(found)
    number = request.GET.get("container", "")
    asked = next((one for one in there if str(one.number) == number), None)
    return acts.handle(
        request,
        ContainerForm(
            request.POST or None,
            lot=found,
            initial={"container": asked or (there[0] if len(there) == 1 else None)},
        ),
        do=lambda facts, submission: containers.weigh_container(
            by=user_of(request), lot=found, submission=submission, **facts
        ),
        then=lambda _: page_of(found.stock),
        said=lambda made: _said(found, made),
        home=page_of(found.stock),
        title=f"Weigh the container of {found.code}",
        context={
            "lead": "At each opening. Old potash weighs more than the book says: it has"
            " taken water and carbon dioxide from the air."
            if is_potash
            else "At each opening, beside what the book says.",
            "facts": [
                (
                    "All of the lot, in the book" if there else "In the book",
                    mass(found.stock.on_hand_mg),
                ),
                *((one.code, _known(one)) for one in there),
            ],
            "net_of": "gross_mg,tare_mg",
            "cautions": ["potash"] if is_potash else [],
        },
    )


@needs(Right.MAKER)
def container_amend(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    """Correct the weighing of a container."""
    found = lot_by_code(code)
    row = get_object_or_404(ContainerWeighing, stock_id=found.pk, pk=pk)
    return acts.handle(
        request,
        AmendContainerForm(
            request.POST or None, of_container=row.container_id is not None
        ),
        do=lambda facts, submission: containers.amend_container(
            by=user_of(request), weighing=row, submission=submission, **facts
        ),
        then=lambda _: page_of(found.stock),
        said="The correction is recorded; the old value stays legible.",
        home=page_of(found.stock),
        title="Correct the weighing of a container",
        submit="Record the correction",
        context={"facts": _was(row), "net_of": "gross_mg,tare_mg"},
    )


@needs(Right.MAKER)
def container_void(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    """Take the weighing of a container back."""
    found = lot_by_code(code)
    row = get_object_or_404(ContainerWeighing, stock_id=found.pk, pk=pk)
    return acts.handle(
        request,
        ReasonForm(request.POST or None),
        do=lambda facts, submission: containers.amend_container(
            by=user_of(request),
            weighing=row,
            void=True,
            submission=submission,
            **facts,
        ),
        then=lambda _: page_of(found.stock),
        said="The weighing is taken back; it stays legible.",
        home=page_of(found.stock),
        title="Take the weighing of a container back",
        submit="Take it back",
        context={"facts": _was(row), "danger": True},
    )


def _known(one: WithBook) -> str:
    tare = "not known" if one.tare_mg is None else mass(one.tare_mg)
    return f"{mass(one.book_mg)} in the book, tare {tare}"


def _said(lot: RawLot, row: ContainerWeighing) -> str:
    """Return what a weighing says, and whether the lot is on hold since."""
    held = row.sentence.startswith(sources.HOLD_WORDS)
    if not held or lot.status != RawLot.Status.ON_HOLD:
        return row.sentence
    return (
        f"{row.sentence} The lot is on hold now. Titrate it; a stock-take sets the book"
        " to the scale; then a reviewer lifts the hold with a reason."
    )


def _was(row: ContainerWeighing) -> list[tuple[str, str]]:
    return [
        ("Gross was", mass(row.gross_mg)),
        ("Tare was", mass(row.tare_mg)),
        ("It said", row.sentence),
    ]
