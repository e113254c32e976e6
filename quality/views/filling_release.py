"""The release of a filling lot, on a page of its own."""

from __future__ import annotations

from django import forms
from django.http import HttpRequest, HttpResponse

from batches.views.bottles import filling_lot_by_code
from batches.views.bottles import page_of as page_of_filling_lot
from producer.forms.base import ActForm
from producer.models import Right
from producer.services.alone import why_not_alone
from producer.views import acts
from producer.views.acts import needs, user_of
from quality.services import filling_release, filling_steps


class ReleaseForm(ActForm):
    """What a reviewer adds to a release."""

    note = forms.CharField(
        label="Note",
        required=False,
        widget=forms.Textarea({"rows": 2}),
        help_text="Needed where no sample is kept: why there is none; and where one"
        " changed: why its bottles may leave all the same.",
    )


@needs(Right.REVIEWER)
def fill_release(request: HttpRequest, code: str) -> HttpResponse:
    """Look at all of a filling lot, and let its bottles leave."""
    lot = filling_lot_by_code(code)
    user = user_of(request)
    found = filling_release.looked_at(lot)
    is_own_work = filling_release.is_own_work(lot, user)
    return acts.handle(
        request,
        ReleaseForm(request.POST or None),
        do=lambda facts, submission: filling_release.release(
            by=user, filling_lot=lot, submission=submission, **facts
        ),
        then=lambda _: page_of_filling_lot(lot),
        said=lambda row: (
            "Its bottles may leave. It says for ever that nobody else looked at it."
            if row.self_reviewed
            else "Its bottles may leave."
        ),
        home=page_of_filling_lot(lot),
        title=f"Release {lot.code}",
        submit="Let these bottles leave",
        template="quality/fill_release.html",
        context={
            "lot": lot,
            "found": found,
            "rows": filling_steps.mass_rows(found.balance) if found.balance else [],
            "obstacles": list(filling_release.in_the_way(found)),
            "is_own_work": is_own_work,
            "not_alone": why_not_alone(
                by=user,
                last_at=filling_release.last_entry_at(lot),
                what=filling_release.WHAT,
            )
            if is_own_work
            else "",
        },
    )
