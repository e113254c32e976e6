"""The page on which a lye discount is set."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse

from batches.forms.making import DiscountForm
from batches.services.discounting import set_lye_discount
from batches.views.batches import batch_by_number, page_of
from producer.models import Right
from producer.templatetags.kettlebook import number as number_words
from producer.views import acts
from producer.views.acts import needs, user_of


@needs(Right.MAKER)
def discount(request: HttpRequest, number: str) -> HttpResponse:
    """Set the lye discount of a batch while no potash is in it."""
    found = batch_by_number(number)
    percent = found.lye_discount * 100
    return acts.handle(
        request,
        DiscountForm(request.POST or None),
        do=lambda facts, submission: set_lye_discount(
            by=user_of(request), batch=found, submission=submission, **facts
        ),
        then=lambda _: page_of(found),
        said="The lye discount is set. The potash to weigh follows it.",
        home=page_of(found),
        title=f"Lye discount of {found.number}",
        submit="Set it",
        template="batches/discount.html",
        context={
            "batch": found,
            "facts": [
                ("Now", f"{number_words(percent)} % of the alkali need left out")
            ],
        },
    )
