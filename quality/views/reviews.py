"""Limits, the review of a batch, and the signature under it."""

from __future__ import annotations

from decimal import Decimal

from django.contrib.auth import authenticate
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse

from batches.models import FormulaVersion
from batches.services.results import yield_of
from batches.views.batches import batch_by_number
from producer.errors import Refusal
from producer.middleware import decimal_mark
from producer.models import Right
from producer.views import acts
from producer.views.acts import needs, read_only, user_of
from quality.forms.deciding import LimitForm, SignForm
from quality.models import Signature
from quality.services import as_signed, reviewing, signing
from quality.services import limits as limits_service
from quality.statistics.conformity import RULE
from quality.statistics.risks import worst_false_accept
from quality.statistics.rounding import as_decimal


@read_only
def limits(request: HttpRequest, pk: int) -> HttpResponse:
    """Show the limits of a formula version, newest version first."""
    version = get_object_or_404(FormulaVersion.objects.select_related("formula"), pk=pk)
    rows = version.limits.select_related("entered_by__person")
    # One u of the value, kept away from the limit by the guard band of its U = 2·u.
    kept = RULE.guard_band(Decimal(2))
    page = {
        "version": version,
        "limits": rows,
        "rule": RULE.statement,
        "worst_percent": as_decimal(worst_false_accept(kept, 1) * 100),
        "worst_conditional_percent": as_decimal(worst_false_accept(0, 1) * 100),
    }
    return render(request, "quality/limits.html", page)


@needs(Right.REVIEWER)
def limit_set(request: HttpRequest, pk: int) -> HttpResponse:
    """Set a limit as a new version."""
    version = get_object_or_404(FormulaVersion.objects.select_related("formula"), pk=pk)
    home = reverse("quality:limits", args=[pk])
    return acts.handle(
        request,
        LimitForm(request.POST or None),
        do=lambda facts, submission: limits_service.set_limit(
            by=user_of(request),
            formula_version=version,
            submission=submission,
            **facts,
        ),
        then=lambda _: home,
        said="The limit is set. Batches opened before keep theirs.",
        home=home,
        title=f"Set a limit for {version.formula}, version {version.version}",
        submit="Set it",
        context={
            "lead": "pH on the scale of its method; yield variance in percent, below"
            " zero where water boils off; clarity needs no figures: it must be clear."
        },
    )


@read_only
def review(request: HttpRequest, number: str) -> HttpResponse:
    """Show the whole batch as a reviewer reads it, exceptions first."""
    batch = batch_by_number(number)
    user = user_of(request)
    mark = decimal_mark()
    found = reviewing.review_of(batch, by=user, mark=mark)
    entries = found.entries
    signatures = list(batch.signatures.order_by("pk"))
    first = as_signed.deciding(signatures)
    signed = as_signed.as_signed(first, mark=mark) if first else None
    return render(
        request,
        "quality/review.html",
        {
            "batch": batch,
            "review": found,
            "signed": signed,
            "differences": as_signed.differences(signed, found) if signed else [],
            "result": yield_of(batch, entries),
            "charges": entries.charges,
            "readings": entries.readings,
            "weighings": entries.weighings,
            "signatures": [
                (row, as_signed.as_signed(row, mark=mark)) for row in signatures
            ],
            "can_sign": user.may(Right.REVIEWER)
            and bool(signing.POSSIBLE.get(batch.status)),
        },
    )


@needs(Right.REVIEWER)
def sign(request: HttpRequest, number: str) -> HttpResponse:
    """Sign a decision about a batch."""
    batch = batch_by_number(number)
    user = user_of(request)
    home = reverse("quality:review", args=[batch.number])

    def do(facts: acts.Facts, submission: acts.Submission) -> Signature:
        # Through the sign-in's own gate as well, so that guessing a password here
        # counts towards the same lock-out.
        if not authenticate(
            request, username=user.username, password=facts["password"]
        ):
            raise Refusal(
                "This is not your password. Nothing was signed.", field="password"
            )
        return signing.sign(by=user, batch=batch, submission=submission, **facts)

    review = reviewing.review_of(batch, by=user)
    return acts.handle(
        request,
        SignForm(
            request.POST or None,
            meanings=signing.POSSIBLE.get(batch.status, ()),
            initial={"seen": review.digest},
        ),
        do=do,
        then=lambda _: home,
        said=lambda signature: f"Signed: {signature.meaning_in_words}.",
        home=home,
        title=f"Sign {batch.number}",
        submit="Sign",
        template="quality/sign.html",
        context={"batch": batch, "review": review},
    )
