"""The review of a batch, and the signature under it."""

from __future__ import annotations

from django.contrib.auth import authenticate
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone

from batches.views.batches import batch_by_number
from producer.errors import Refusal
from producer.middleware import decimal_mark
from producer.models import Right
from producer.views import acts
from producer.views.acts import needs, read_only, user_of
from quality.forms.deciding import SignForm
from quality.models import Signature
from quality.services import as_signed, reading_order, reviewing, signing
from quality.services.consequences import choices_of

# The sections of the review page in the order in which an auditor reads: where, words.
PLACES = (
    ("exceptions", "Exceptions"),
    ("judgement", "Judgement"),
    ("inputs", "What went in"),
    ("process", "What happened"),
    ("yield", "Yield"),
    ("alkali", "Alkali"),
    ("instruments", "Instruments"),
    ("bottles", "Bottles"),
    ("signatures", "Signatures"),
)


@read_only
def review(request: HttpRequest, number: str) -> HttpResponse:
    """Show the whole batch as a reviewer reads it, exceptions first."""
    batch = batch_by_number(number)
    user, mark = user_of(request), decimal_mark()
    found = reviewing.review_of(batch, by=user, mark=mark)
    signatures = as_signed.signatures_of([batch.pk])
    first = as_signed.deciding(signatures)
    then = as_signed.as_signed(first, mark=mark) if first else None
    read = reading_order.in_order(
        batch,
        found,
        signatures,
        as_signed=then.rows if then else None,
        differences=as_signed.differences(then, found) if then else (),
        mark=mark,
    )
    page = {
        "batch": batch,
        "places": PLACES,
        "review": found,
        # The rows by kind, for where one of them is corrected.
        "charges": found.entries.charges,
        "readings": found.entries.readings,
        "weighings": found.entries.weighings,
        "read": read,
        "exceptions": read.exceptions,
        "signed": then,
        "signatures": [
            (row, as_signed.as_signed(row, mark=mark)) for row in signatures
        ],
        "can_sign": user.may(Right.REVIEWER)
        and bool(signing.POSSIBLE.get(batch.status)),
    }
    return render(request, "quality/review.html", page)


@needs(Right.REVIEWER)
def sign(request: HttpRequest, number: str) -> HttpResponse:
    """Sign a decision about a batch."""
    batch = batch_by_number(number)
    user, mark = user_of(request), decimal_mark()
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
    signatures = as_signed.signatures_of([batch.pk])
    read = reading_order.in_order(batch, review, signatures, mark=mark)
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
        context={
            "batch": batch,
            "review": review,
            "read": read,
            "exceptions": read.exceptions,
            "choices": choices_of(batch, review, mark=mark),
            "now": timezone.now(),
        },
    )
