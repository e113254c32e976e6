"""A box of bottles: dispatched past the supply gate, or moved in bulk."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from django.http import HttpRequest, HttpResponse, StreamingHttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse

from batches.lifecycle import BottleStatus
from batches.models import Bottle, Dispatch, DispatchTakenBack
from batches.services import bottle_moves, dispatching
from batches.services.dispatch_back import needs_reviewer
from producer.forms.base import ReasonForm
from producer.models import Consignee, Right
from producer.quantities import whole_number
from producer.services.checks import local_day
from producer.templatetags.kettlebook import day
from producer.views import acts
from producer.views.acts import Mind, needs, read_only, user_of
from quality.documents import delivery_note
from quality.forms.dispatching import DispatchForm, MovesForm
from quality.services import collected, dispatch_back, supplying
from quality.services.under_recall import recalled

LONGEST = 4000  # characters of codes in an address


@needs(Right.MAKER)
def dispatch_new(request: HttpRequest) -> HttpResponse:
    """Send bottles to a consignee."""
    form = DispatchForm(
        request.POST or None, initial={"filling_lot": request.GET.get("filling_lot")}
    )
    return acts.handle(
        request,
        form,
        do=lambda facts, submission: supplying.dispatch(
            by=user_of(request),
            submission=submission,
            **_with_bottles(facts, states=bottle_moves.states_before("dispatched")),
        ),
        then=lambda made: reverse("batches:dispatch", args=[made.code]),
        said=_said,
        home=reverse("batches:dispatches"),
        title="Send bottles to a consignee",
        submit="Dispatch them",
        template="quality/collect.html",
        context={
            "cautions": ["product"],
            "with": "consignee",
            "lines": _lines(
                request,
                lambda codes: collected.to_leave(
                    codes, _consignee(request.POST.get("consignee"))
                ),
            ),
        },
    )


@needs(Right.MAKER, Right.REVIEWER)
def bottles_move(request: HttpRequest) -> HttpResponse:
    """Record what became of many bottles: back, recovered, destroyed, held, freed."""
    user = user_of(request)
    form = MovesForm(
        request.POST or None,
        initial={"filling_lot": request.GET.get("filling_lot")},
        user=user,
    )
    return acts.handle(
        request,
        form,
        do=lambda facts, submission: bottle_moves.move_bottles(
            by=user,
            recalled=recalled,
            submission=submission,
            **_with_bottles(
                facts, states=bottle_moves.states_before(facts["new"], user)
            ),
        ),
        then=lambda _: reverse("quality:bottles_move"),
        said=lambda moved: (
            f"{moved} {'bottle is' if moved == 1 else 'bottles are'} recorded:"
            f" {_word(request.POST.get('new', ''))}."
        ),
        home=reverse("batches:bottles"),
        title="What became of bottles",
        template="quality/collect.html",
        context={
            "cautions": ["product"],
            "with": "new",
            "lines": _lines(
                request,
                lambda codes: collected.to_move(codes, request.POST.get("new", "")),
            ),
        },
    )


@needs(Right.MAKER, Right.REVIEWER)
def dispatch_take_back(request: HttpRequest, code: str) -> HttpResponse:
    """Take back a dispatch that was recorded by mistake."""
    found = _dispatch_by_code(code)
    home = reverse("batches:dispatch", args=[found.code])
    return acts.handle(
        request,
        ReasonForm(request.POST or None),
        do=lambda facts, submission: dispatch_back.take_back(
            by=user_of(request), dispatch=found, submission=submission, **facts
        ),
        then=lambda _: home,
        said=_said_back,
        home=home,
        title=f"Take back dispatch {found.code}",
        submit="Take it back",
        context={
            "facts": [
                ("To", found.consignee.name),
                ("Recorded", f"{day(found.entered_at)}, {found.entered_by.person}"),
            ],
            "lead": (
                "Only if these bottles never left for this consignee: another was"
                " meant, or nothing was sent. They are in stock again, or on hold if"
                " something holds them by now, and both records stay. What was really"
                " out and came back is recorded as returned instead. If a printed"
                " delivery note lies about, destroy it."
                + (
                    " It was recorded more than two days ago, so a reviewer does this."
                    if needs_reviewer(found)
                    else ""
                )
            ),
        },
    )


@read_only
def bottle_look(request: HttpRequest) -> HttpResponse:
    """Show what bottles are and what stands in their way; a piece of a page.

    Of ``codes``, for a ``consignee`` or to become ``new``; ``again`` are codes that
    the page has already.
    """
    codes = request.GET.get("codes", "")[:LONGEST]
    again = request.GET.get("again", "")[:LONGEST].split()
    new = request.GET.get("new")
    if new is None:
        to = _consignee(request.GET.get("consignee"))
        lines = collected.to_leave(codes, to, again)
    else:
        lines = collected.to_move(codes, new, again)
    return render(request, "quality/_bottle_lines.html", {"found": lines})


@read_only
def dispatch_note(request: HttpRequest, code: str) -> HttpResponse:
    """Print the delivery note of a dispatch."""
    found = _dispatch_by_code(code)
    content = delivery_note.note_pdf(found, printed_by=user_of(request).person.name)
    name = f"delivery-note-{found.code}.pdf"
    return HttpResponse(
        content,
        content_type="application/pdf",
        headers={"Content-Disposition": f'inline; filename="{name}"'},
    )


@read_only
def dispatch_csv(request: HttpRequest, code: str) -> StreamingHttpResponse:
    """Stream a dispatch as CSV, a bottle a line."""
    found = _dispatch_by_code(code)
    return StreamingHttpResponse(
        delivery_note.list_csv(found),
        content_type="text/csv; charset=utf-8",
        headers={
            "Content-Disposition": f'attachment; filename="dispatch-{found.code}.csv"'
        },
    )


def _dispatch_by_code(code: str) -> Dispatch:
    return get_object_or_404(
        Dispatch.objects.select_related(
            "consignee", "entered_by__person", "taken_back__entered_by__person"
        ),
        code=code.upper(),
    )


def _with_bottles(facts: Mapping[str, Any], states: list[str]) -> dict[str, Any]:
    """Return the facts of a form with the bottles in place of how they were named."""
    named = ("codes", "filling_lot", "first", "last")
    bottles = dispatching.chosen(**{name: facts[name] for name in named}, states=states)
    rest = {name: value for name, value in facts.items() if name not in named}
    return {**rest, "bottles": bottles}


def _said(made: Dispatch) -> str:
    """Return what was recorded; as a warning where a use-by date is near."""
    bottles = Bottle.objects.filter(events__dispatch=made).select_related("filling_lot")
    count = len(bottles)
    words = (
        f"Dispatch {made.code} is recorded: {count} bottle{'' if count == 1 else 's'}."
    )
    near = collected.soon_past(bottles, local_day(made.observed_at))
    if not near:
        return words
    told = ", ".join(f"{code} by {day(use_by)}" for code, use_by in near.items())
    return Mind(f"{words} Say that they must be used soon: {told}.")


def _said_back(row: DispatchTakenBack) -> str:
    """Return what was taken back; as a warning where bottles are on hold by now."""
    sent = row.dispatch.events.filter(new=BottleStatus.DISPATCHED).values("bottle")
    held = Bottle.objects.filter(pk__in=sent, status=BottleStatus.ON_HOLD).count()
    words = f"Dispatch {row.dispatch.code} is taken back."
    if not held:
        return f"{words} Its bottles are in stock again."
    return Mind(f"{words} {held} of its bottles are on hold: see each one for why.")


def _word(new: str) -> str:
    return dict(bottle_moves.WORDS).get(new, "")  # type: ignore[call-overload, no-any-return]


def _consignee(text: str | None) -> Consignee | None:
    return Consignee.objects.filter(pk=whole_number(text, default=0)).first()


def _lines(
    request: HttpRequest, look: Callable[[str], list[collected.Line]]
) -> Callable[[], list[collected.Line]]:
    """Return what shows the lines of a form that was refused, and nothing before.

    Asked by the template, after the act was tried.
    """
    return lambda: look(request.POST.get("codes", "")) if request.POST else []
