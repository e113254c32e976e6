"""What to thin a paste with, doses, and bottles weighed against their label."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render

from batches.chemistry.errors import ChemistryError
from batches.models import Batch, Formula
from batches.views.batches import batch_by_number
from batches.views.bottles import filling_lot_by_code
from batches.views.bottles import page_of as page_of_filling_lot
from producer.forms.base import ReasonForm
from producer.models import Premises, Right
from producer.templatetags.kettlebook import moment, volume
from producer.views import acts
from producer.views.acts import Mind, needs, read_only, user_of
from quality.forms.liquids import (
    DilutionForm,
    DoseForm,
    FillCheckForm,
    SprayForm,
    WashForm,
)
from quality.models import FillCheck, FillCheckTakenBack
from quality.services import dosing, filling_checks, weighing_back, weighings


@needs(Right.MAKER)
def fill_check(request: HttpRequest, code: str) -> HttpResponse:
    """Record the masses of full bottles of a filling lot."""
    lot = filling_lot_by_code(code)
    return acts.handle(
        request,
        FillCheckForm(
            request.POST or None,
            count=lot.count,
            is_again=weighings.failed(weighings.newest_check(lot)),
        ),
        do=lambda facts, submission: filling_checks.record_fill_check(
            by=user_of(request), filling_lot=lot, submission=submission, **facts
        ),
        then=lambda _: page_of_filling_lot(lot),
        said=_verdict,
        home=page_of_filling_lot(lot),
        title=f"Weigh bottles of {lot.code}",
        submit="Record these masses",
        context={
            "lead": f"{lot.count} bottles of {volume(lot.nominal_ul)} each."
            f"{weighings.said_of_gone(lot)}"
        },
    )


def _verdict(check: FillCheck) -> str:
    newest = weighings.newest_check(check.filling_lot)
    if newest is None or newest.pk == check.pk:
        return check.sentence
    return Mind(
        f"{check.sentence} It is older than the weighing of"
        f" {moment(newest.observed_at)}, so that one counts."
    )


@needs(Right.MAKER, Right.REVIEWER)
def fill_check_take_back(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    """Take back a weighing that was entered wrongly."""
    lot = filling_lot_by_code(code)
    check = get_object_or_404(lot.fill_checks.select_related("scale", "limit"), pk=pk)
    lead = (
        "Only if it was no weighing of these bottles, or its masses are wrong. It stays"
        " on record and counts for nothing. What it held stays on hold until a reviewer"
        " frees it; bottles opened for it stay destroyed."
    )
    if weighing_back.needs_reviewer(check):
        lead += (
            " A reviewer does this: it was not accepted, or its bottles are released,"
            " or it was entered more than two days ago."
        )
    return acts.handle(
        request,
        ReasonForm(request.POST or None),
        do=lambda facts, submission: weighing_back.take_back(
            by=user_of(request), check=check, submission=submission, **facts
        ),
        then=lambda _: page_of_filling_lot(lot),
        said=_said_back,
        home=page_of_filling_lot(lot),
        title=f"Take back a weighing of {lot.code}",
        submit="Take it back",
        context={
            "facts": [
                ("Weighed", f"{moment(check.observed_at)}, {check.scale.name}"),
                ("What it said", check.sentence),
            ],
            "lead": lead,
        },
    )


def _said_back(row: FillCheckTakenBack) -> str:
    """Return what counts now; as a warning where nothing does, or that stops them."""
    newest = weighings.newest_check(row.fill_check.filling_lot)
    if newest is None:
        return Mind("It is taken back. Weigh these bottles before any of them leaves.")
    words = f"It is taken back. The weighing of {moment(newest.observed_at)} counts."
    return Mind(words) if weighings.failed(newest) else words


@needs(Right.REVIEWER)
def fill_free(request: HttpRequest, code: str) -> HttpResponse:
    """Lift the hold that a weighing put on bottles of a filling lot."""
    lot = filling_lot_by_code(code)
    held = len(filling_checks.held_by_weighing(lot))
    return acts.handle(
        request,
        ReasonForm(request.POST or None),
        do=lambda facts, submission: filling_checks.free_bottles(
            by=user_of(request), filling_lot=lot, submission=submission, **facts
        ),
        then=lambda _: page_of_filling_lot(lot),
        said=lambda freed: f"{freed} bottles may leave again.",
        home=page_of_filling_lot(lot),
        title=f"Free bottles of {lot.code}",
        submit="Free these bottles",
        context={"lead": f"A weighing holds {held} bottles of this lot."},
    )


@read_only
def doses(request: HttpRequest, number: str) -> HttpResponse:
    """Compute what to thin a batch with, a tank of spray and doses for washing."""
    batch = batch_by_number(number)
    page: dict[str, Any] = {"batch": batch, "version": batch.formula_version}
    try:
        product = dosing.product_to_thin(batch)
    except dosing.NotKnownError as reason:
        page["not_known"] = str(reason)
        return render(request, "quality/doses.html", page)
    for kind, form_class in DOSE_FORMS.items():
        page[kind] = form_class(
            request.GET if request.GET.get("of") == kind else None,
            initial=_first_guess(batch),
        )
    page |= {"product": product, **_answer(page, product)}
    return render(request, "quality/doses.html", page)


DOSE_FORMS: dict[str, type[DoseForm]] = {
    form.KIND: form for form in (DilutionForm, SprayForm, WashForm)
}
ANSWERS: dict[str, Callable[..., Any]] = {
    DilutionForm.KIND: dosing.dilution,
    SprayForm.KIND: dosing.spray,
    WashForm.KIND: dosing.wash,
}


def _answer(page: dict[str, Any], product: dosing.Product) -> dict[str, Any]:
    """Return the answer to the form that was sent; what cannot be is said beside it."""
    for kind, answer in ANSWERS.items():
        form: DoseForm = page[kind]
        if form.is_bound and form.is_valid():
            try:
                return {f"{kind}_answer": answer(product, **form.facts())}
            except ChemistryError as error:
                form.add_error(None, str(error))
    return {}


def _first_guess(batch: Batch) -> dict[str, Any]:
    """Return what the forms begin with: one's own water, the density last filled."""
    density, _ = filling_checks.density_of(batch)
    return {
        "paste_mg": "1 kg",
        "hardness": Premises.objects.get().water_hardness,
        "density": density if batch.kind == Formula.Kind.DILUTION else None,
    }
