"""What to thin a paste with, doses, and bottles weighed against their label."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from batches.chemistry.errors import ChemistryError
from batches.models import Batch, Formula
from batches.views.batches import batch_by_number
from batches.views.bottles import filling_lot_by_code
from batches.views.bottles import page_of as page_of_filling_lot
from producer.forms.base import ReasonForm
from producer.models import Premises, Right
from producer.templatetags.kettlebook import volume
from producer.views import acts
from producer.views.acts import needs, read_only, user_of
from quality.forms.liquids import (
    DilutionForm,
    DoseForm,
    FillCheckForm,
    SprayForm,
    WashForm,
)
from quality.models import FillCheck
from quality.services import dosing, filling_checks


@needs(Right.MAKER)
def fill_check(request: HttpRequest, code: str) -> HttpResponse:
    """Record the masses of full bottles of a filling lot."""
    lot = filling_lot_by_code(code)
    return acts.handle(
        request,
        FillCheckForm(request.POST or None),
        do=lambda facts, submission: filling_checks.record_fill_check(
            by=user_of(request), filling_lot=lot, submission=submission, **facts
        ),
        then=lambda _: page_of_filling_lot(lot),
        said=_verdict,
        home=page_of_filling_lot(lot),
        title=f"Weigh bottles of {lot.code}",
        submit="Record these masses",
        context={"lead": f"{lot.count} bottles of {volume(lot.nominal_ul)} each."},
    )


def _verdict(check: FillCheck) -> str:
    return check.sentence


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
