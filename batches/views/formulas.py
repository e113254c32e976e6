"""Formulas and their versions."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse

from batches.forms.formulas import FormulaForm, NewVersionForm, initial_of
from batches.models import Formula
from batches.services import formulas as service
from batches.tables.making import FormulaTable
from producer.models import Right
from producer.tables.base import show
from producer.views import acts
from producer.views.acts import needs, read_only, user_of


@read_only
def formulas(request: HttpRequest) -> HttpResponse:
    """List the formulas."""
    table = show(request, FormulaTable(Formula.objects.all()))
    return render(request, "batches/formulas.html", {"table": table})


@read_only
def formula(request: HttpRequest, pk: int) -> HttpResponse:
    """Show a formula with its versions."""
    found = get_object_or_404(Formula, pk=pk)
    versions = found.versions.order_by("-version").prefetch_related(
        "lines__material", "lines__source_formula"
    )
    return render(
        request,
        "batches/formula.html",
        {"formula": found, "newest": versions[0], "former": versions[1:]},
    )


@needs(Right.MAKER)
def formula_new(request: HttpRequest) -> HttpResponse:
    """Write a formula."""
    return acts.handle(
        request,
        FormulaForm(request.POST or None),
        do=lambda facts, submission: service.write_formula(
            by=user_of(request), submission=submission, **facts
        ),
        then=lambda made: reverse("batches:formula", args=[made.formula_id]),
        said="The formula is written. A reviewer now sets its limits.",
        home=reverse("batches:formulas"),
        title="Write a formula",
        submit="Write it",
        template="batches/formula_write.html",
    )


@needs(Right.MAKER)
def formula_version(request: HttpRequest, pk: int) -> HttpResponse:
    """Write a new version of a formula."""
    found = get_object_or_404(Formula, pk=pk)
    former = service.newest_version(found)
    return acts.handle(
        request,
        NewVersionForm(request.POST or None, initial=initial_of(former)),
        do=lambda facts, submission: service.write_version(
            by=user_of(request), formula=found, submission=submission, **facts
        ),
        then=lambda _: reverse("batches:formula", args=[pk]),
        said="The new version is written. A reviewer now sets its limits.",
        home=reverse("batches:formula", args=[pk]),
        title=f"New version of {found}",
        submit="Write it",
        template="batches/formula_write.html",
    )
