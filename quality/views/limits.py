"""Limits of a formula version and of a material."""

from __future__ import annotations

import math
from decimal import Decimal
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse

from batches.models import FormulaVersion
from producer.models import Material, Right
from producer.views import acts
from producer.views.acts import needs, read_only, user_of
from quality.forms.deciding import LimitForm
from quality.models import Limit
from quality.services import limits as service
from quality.statistics.conformity import RULES, DecisionRule
from quality.statistics.risks import worst_false_accept
from quality.statistics.rounding import as_decimal


@read_only
def limits(request: HttpRequest, pk: int) -> HttpResponse:
    """Show the limits of a formula version, newest version first."""
    version = _version(pk)
    page = {"version": version, "set_address": reverse("quality:limit_set", args=[pk])}
    return _page(request, version, page)


@read_only
def material_limits(request: HttpRequest, pk: int) -> HttpResponse:
    """Show the limits of a material, newest version first."""
    material = get_object_or_404(Material, pk=pk)
    page: dict[str, Any] = {"material": material}
    if service.possible(material=material):
        page["set_address"] = reverse("quality:material_limit_set", args=[pk])
    return _page(request, material, page)


@needs(Right.REVIEWER)
def limit_set(request: HttpRequest, pk: int) -> HttpResponse:
    """Set a limit of a formula version, as a new version of it."""
    version = _version(pk)
    return _set(
        request,
        {"formula_version": version},
        home=reverse("quality:limits", args=[pk]),
        title=f"Set a limit for {version.formula}, version {version.version}",
        said="The limit is set. Batches opened before keep theirs.",
    )


@needs(Right.REVIEWER)
def material_limit_set(request: HttpRequest, pk: int) -> HttpResponse:
    """Set a limit of a material, as a new version of it."""
    material = get_object_or_404(Material, pk=pk)
    return _set(
        request,
        {"material": material},
        home=reverse("quality:material_limits", args=[pk]),
        title=f"Set a limit for {material}",
        said="The limit is set. It holds for every decision from now on.",
    )


def _set(
    request: HttpRequest, of: dict[str, Any], *, home: str, title: str, said: str
) -> HttpResponse:
    return acts.handle(
        request,
        LimitForm(request.POST or None, of=service.possible(**of)),
        do=lambda facts, submission: service.set_limit(
            by=user_of(request), submission=submission, **of, **facts
        ),
        then=lambda _: home,
        said=said,
        home=home,
        title=title,
        submit="Set it",
        context={
            "lead": "You approve it with your name and the time of now. A later change"
            " is a new version; this one stays."
        },
    )


def _page(
    request: HttpRequest, owner: FormulaVersion | Material, page: dict[str, Any]
) -> HttpResponse:
    rows = Limit.objects.select_related("entered_by__person").order_by(
        "characteristic", "-version"
    )
    of = "material" if isinstance(owner, Material) else "formula_version"
    return render(
        request,
        "quality/limits.html",
        {
            **page,
            "limits": [(row, RULES[row.rule]) for row in rows.filter(**{of: owner})],
            "rules": [(rule, *_worst_percents(rule)) for rule in RULES.values()],
            "worst_conditional_percent": as_decimal(worst_false_accept(0, 1) * 100),
        },
    )


def _worst_percents(rule: DecisionRule) -> tuple[Decimal, Decimal]:
    """Return the largest chance, in %, that what passes lies beyond its limits.

    Of one limit, and of two so close together that a value can just pass. The u of a
    later value is not known, but both are the same for any: U is 2·u.
    """
    band = rule.guard_band(Decimal(2))
    one, two = (
        worst_false_accept(band, 1, window=window) for window in (math.inf, 2 * band)
    )
    return as_decimal(one * 100), as_decimal(two * 100)


def _version(pk: int) -> FormulaVersion:
    return get_object_or_404(FormulaVersion.objects.select_related("formula"), pk=pk)
