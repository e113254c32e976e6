"""The store: containers of a lot, stock-takes."""

from __future__ import annotations

from django.db.models import Count, F, Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse

from producer.documents.counting import counting_list
from producer.forms.store import ContainerForm, ContainersForm, StockTakeForm
from producer.models import Container, Material, Right, StockTake
from producer.services import containers, counting
from producer.services.container_books import book_of
from producer.tables.base import show
from producer.tables.store import StockTakeTable
from producer.templatetags.kettlebook import mass
from producer.views import acts
from producer.views.acts import needs, read_only, user_of
from producer.views.lots import lot_by_code, page_of


@needs(Right.MAKER)
def containers_register(request: HttpRequest, code: str) -> HttpResponse:
    """Write down in how many containers a lot sits."""
    found = lot_by_code(code)
    there = containers.containers_of(found)
    in_them = sum(one.book_mg for one in there)
    return acts.handle(
        request,
        ContainersForm(request.POST or None, initial={"place": found.place}),
        do=lambda facts, submission: containers.register(
            by=user_of(request), lot=found, submission=submission, **facts
        ),
        then=lambda _: page_of(found),
        said=lambda made: (
            f"Registered. Write on them: {', '.join(one.code for one in made)}."
            f"{containers.outside_words(found)}"
        ),
        home=page_of(found),
        title=f"Containers of {found.code}",
        submit="Register",
        context={
            "lead": "Those of one size in one go. Each then has its own book.",
            "facts": [
                ("On hand", mass(found.stock.on_hand_mg)),
                ("In containers already", mass(in_them)),
                ("Not in one yet", mass(found.stock.on_hand_mg - in_them)),
            ],
        },
    )


@needs(Right.MAKER)
def container_change(request: HttpRequest, code: str, number: int) -> HttpResponse:
    """Change where a container is kept, or its tare."""
    found = get_object_or_404(
        Container.objects.select_related("lot__stock"),
        lot__stock__code=code.upper(),
        number=number,
    )
    initial = {"place": found.place, "tare_mg": ""}
    if found.tare_mg is not None:
        initial["tare_mg"] = mass(found.tare_mg)
    return acts.handle(
        request,
        ContainerForm(
            request.POST or None,
            initial=initial,
            untouched=containers.is_untouched(found),
        ),
        do=lambda facts, submission: containers.change(
            by=user_of(request), container=found, submission=submission, **facts
        ),
        then=lambda _: page_of(found.lot),
        said="The change is recorded.",
        home=page_of(found.lot),
        title=f"Container {found.code}",
        submit="Record the change",
        context={"facts": [("In it by the book", mass(book_of(found)))]},
    )


@read_only
def stock_takes(request: HttpRequest) -> HttpResponse:
    """List the stock-takes."""
    rows = StockTake.objects.select_related("entered_by__person").annotate(
        counted=Count("counts"),
        differing=Count("counts", filter=Q(counts__movement__isnull=False)),
    )
    table = show(request, StockTakeTable(rows))
    return render(request, "producer/stock_takes.html", {"table": table})


@read_only
def stock_take(request: HttpRequest, pk: int) -> HttpResponse:
    """Show what a stock-take counted beside what the book said."""
    found = get_object_or_404(
        StockTake.objects.select_related("entered_by__person"), pk=pk
    )
    counts = (
        found.counts.select_related("stock__lot__material", "container__lot__stock")
        .annotate(difference_mg=F("counted_mg") - F("book_mg"))
        .order_by("stock__lot__material__name", "stock__code", "pk")
    )
    return render(
        request,
        "producer/stock_take.html",
        {
            "take": found,
            "counts": counts,
            "is_potash_missing": any(
                one.difference_mg < 0
                and one.stock.lot.material.kind == Material.Kind.POTASH
                for one in counts
            ),
        },
    )


@needs(Right.MAKER)
def stock_take_new(request: HttpRequest) -> HttpResponse:
    """Write down what was counted, of everything or of one lot."""
    code = request.GET.get("lot", "").strip().upper()
    everything = request.method == "POST" or "all" in request.GET or bool(code)
    form = StockTakeForm(
        request.POST or None,
        places=counting.to_count(with_empty=everything, of=code),
    )
    return acts.handle(
        request,
        form,
        do=lambda facts, submission: counting.take_stock(
            by=user_of(request), submission=submission, **facts
        ),
        then=lambda made: reverse("producer:stock_take", args=[made.pk]),
        said="The stock-take is recorded; the book says what was counted.",
        home=reverse("producer:stock_takes"),
        title="Stock-take",
        submit="Record the stock-take",
        template="producer/stock_take_new.html",
        context={
            "code": code,
            "everything": everything,
            "is_potash_missing": form.is_potash_missing,
        },
    )


@read_only
def stock_list_pdf(request: HttpRequest) -> HttpResponse:
    """Print the list to take along: what there is to count, and room to write."""
    return HttpResponse(
        counting_list(printed_by=user_of(request).person.name),
        content_type="application/pdf",
        headers={"Content-Disposition": 'inline; filename="stock-take.pdf"'},
    )
