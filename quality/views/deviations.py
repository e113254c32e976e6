"""Deviations: the list, one of them, and what is done about it."""

from __future__ import annotations

from typing import Any

from django.contrib.auth import authenticate
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse

from producer.errors import Refusal
from producer.middleware import decimal_mark
from producer.models import Instrument, Right, Stock
from producer.tables.base import show
from producer.views import acts
from producer.views.acts import needs, read_only, user_of
from quality.forms.deviations import CloseForm, OpenDeviationForm, StepForm
from quality.models import Deviation, DeviationStep
from quality.services import deviating
from quality.services import deviations as reading
from quality.services.deviation_hands import is_own_work
from quality.services.result_now import result_now
from quality.tables.deviations import DeviationTable

Decision = DeviationStep.Decision
SHOWN = (("", "all"), ("open", "open"), ("closed", "closed"))
MOST_TYPED = 120


@read_only
def deviations(request: HttpRequest) -> HttpResponse:
    """List deviations, the open ones first; all, those of one status, or a search."""
    status = request.GET.get("status", "")
    text = request.GET.get("q", "").strip()[:MOST_TYPED]
    rows = reading.found(text, status)
    return render(
        request,
        "quality/deviations.html",
        {
            "table": show(request, DeviationTable(rows)),
            "status": status,
            "statuses": SHOWN,
            "text": text,
        },
    )


def deviation_by_code(code: str) -> Deviation:
    """Return the deviation with this code, or answer 404."""
    rows = Deviation.objects.select_related("stock", "instrument", "entered_by__person")
    return get_object_or_404(rows, code=code.upper())


def page_of(deviation: Deviation) -> str:
    """Return the address of a deviation's page."""
    return reverse("quality:deviation", args=[deviation.code])


@read_only
def deviation(request: HttpRequest, code: str) -> HttpResponse:
    """Show a deviation: what happened, every step, and the decision."""
    found = deviation_by_code(code)
    user = user_of(request)
    standing = reading.standing(found)
    return render(
        request,
        "quality/deviation.html",
        {
            "deviation": found,
            "standing": standing,
            "batch": _batch(found),
            "can_add": standing.is_open
            and (user.may(Right.MAKER) or user.may(Right.REVIEWER)),
            "can_close": standing.is_open and user.may(Right.REVIEWER),
        },
    )


@needs(Right.MAKER, Right.REVIEWER)
def deviation_open(request: HttpRequest, code: str) -> HttpResponse:
    """Open a deviation about a raw lot or a batch."""
    stock = get_object_or_404(Stock, code=code.upper())
    wanted = request.GET.get("of", "")
    results = reading.results_of(stock)
    given = {"characteristic": wanted} if wanted in results else {}
    page = "batch" if stock.kind == Stock.Kind.BATCH else "lot"
    app = "batches" if page == "batch" else "producer"
    return _open(
        request,
        form=OpenDeviationForm(request.POST or None, results=results, initial=given),
        about={"stock": stock},
        home=reverse(f"{app}:{page}", args=[stock.code]),
        name=f"{stock.get_kind_display()} {stock.code}",
    )


@needs(Right.MAKER, Right.REVIEWER)
def deviation_open_instrument(request: HttpRequest, pk: int) -> HttpResponse:
    """Open a deviation about an instrument."""
    instrument = get_object_or_404(Instrument, pk=pk)
    return _open(
        request,
        form=OpenDeviationForm(request.POST or None, results=()),
        about={"instrument": instrument},
        home=reverse("quality:instrument", args=[pk]),
        name=f"{instrument}",
    )


@needs(Right.MAKER, Right.REVIEWER)
def deviation_step(request: HttpRequest, code: str) -> HttpResponse:
    """Add a cause, a further test, an action or another class."""
    found = deviation_by_code(code)
    home = page_of(found)
    return acts.handle(
        request,
        StepForm(request.POST or None),
        do=lambda facts, submission: deviating.add_step(
            by=user_of(request), deviation=found, submission=submission, **facts
        ),
        then=lambda _: home,
        said=_said_of_step,
        home=home,
        title=f"{found.code}: add a step",
        submit="Add it",
        context={"lead": found.what},
    )


@needs(Right.REVIEWER)
def deviation_close(request: HttpRequest, code: str) -> HttpResponse:
    """Sign the decision about a deviation."""
    found = deviation_by_code(code)
    user = user_of(request)
    home = page_of(found)

    def do(facts: acts.Facts, submission: acts.Submission) -> DeviationStep:
        # Through the sign-in's own gate as well, so that guessing a password here
        # counts towards the same lock-out.
        if not authenticate(
            request, username=user.username, password=facts["password"]
        ):
            raise Refusal(
                "This is not your password. Nothing was signed.", field="password"
            )
        return deviating.close_deviation(
            by=user, deviation=found, submission=submission, **facts
        )

    return acts.handle(
        request,
        CloseForm(
            request.POST or None,
            decisions=deviating.possible(found),
            initial={"seen": deviating.digest_of(found)},
        ),
        do=do,
        then=lambda _: home,
        said=lambda step: f"Signed: {step.get_decision_display()}.",
        home=home,
        title=f"Decide about {found.code}",
        submit="Sign",
        template="quality/deviation_close.html",
        context={
            "deviation": found,
            "standing": reading.standing(found),
            "is_own_work": is_own_work(user, found),
            "now": result_now(found, decimal_mark()),
        },
    )


def _open(
    request: HttpRequest,
    *,
    form: OpenDeviationForm,
    about: dict[str, Any],
    home: str,
    name: str,
) -> HttpResponse:
    return acts.handle(
        request,
        form,
        do=lambda facts, submission: deviating.open_deviation(
            by=user_of(request), submission=submission, **about, **facts
        ),
        then=page_of,
        said=lambda made: (
            f"Deviation {made.code} is open. Look for the cause now."
            + _held(made, made.classification)
        ),
        home=home,
        title=f"Open a deviation of {name}",
        submit="Open it",
        context={
            "lead": "While it is open, no batch that it is about or that has it in it"
            " is released. Where it is critical, what is released of them is put on"
            " hold at once, with every bottle that is still here; a raw lot too."
        },
    )


def _said_of_step(step: DeviationStep) -> str:
    said = f"Added: {step.get_kind_display()}."
    return said + _held(step.deviation, step.classification)


def _held(found: Deviation, now: str) -> str:
    """Return what a class that was just given has done, or nothing."""
    if now != Deviation.Class.CRITICAL or found.stock is None:
        return ""
    return (
        f" What was released of {reading.name_of(found)} and of all made from it is on"
        " hold, with the bottles that are here. What is out cannot be held: see if a"
        " recall is due."
    )


def _batch(found: Deviation) -> Any:
    """Return the batch it is about, or None."""
    return getattr(found.stock, "batch", None) if found.stock else None
