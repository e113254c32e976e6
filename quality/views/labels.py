"""Issue labels for the bottles of a filling lot.

The page stands here because the class of contents and the doses are reckoned with
their ±; the act is a service of the batches.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable
from typing import Any

from django.http import HttpRequest, HttpResponse

from batches.documents.labels import address_is_local, check_fit
from batches.forms.labelling import LabelIssueForm, as_spans
from batches.label_text import doses_beyond
from batches.models import FillingLot, Formula, LabelCopy, LabelIssue, LabelVersion
from batches.services import label_texts, labelling
from batches.services.label_bands import Bands, bands_of
from batches.views.bottles import filling_lot_by_code
from batches.views.bottles import page_of as page_of_lot
from batches.views.labels import page_of as page_of_issue
from producer.models import Right
from producer.templatetags.kettlebook import volume
from producer.views import acts
from producer.views.acts import Mind, needs, user_of
from quality.services import dosing
from quality.services.dose_table import dose_table


@dataclasses.dataclass(frozen=True, kw_only=True)
class Asked:
    """The classes of contents to choose among; ``content`` has the question, if any."""

    reckoned: str
    choices: tuple[str, ...]
    content: dosing.Content | None
    not_known: str


def asked_of(lot: FillingLot) -> Asked:
    """Return which classes of contents the labels of a lot may be asked about.

    Where ± crosses no edge there is nothing to choose. Where it does, the maker
    chooses among the classes it reaches; where it is not known, among the class
    reckoned and its neighbours, or all.
    """
    bands = bands_of(lot)
    content = _content(lot, bands)
    if content is None:
        known = not bands.choices or bool(bands.reckoned)
        return Asked(
            reckoned=bands.reckoned,
            choices=bands.choices,
            content=None,
            not_known="" if known else bands.why_not,
        )
    # The question names the classes that ± reaches, in the words of the label.
    reached = tuple(one for one in bands.choices if f"“{one}”" in content.question)
    return Asked(
        reckoned=bands.reckoned,
        choices=reached or (bands.reckoned,),
        content=content,
        not_known="",
    )


def _content(lot: FillingLot, bands: Bands) -> dosing.Content | None:
    if not bands.choices:
        return None
    try:
        product = dosing.product_of(lot.batch)
    except dosing.NotKnownError:
        return None
    if product.worked_out is None:
        return None
    return dosing.content_of(product.worked_out, product.lowest)


def doses_of(lot: FillingLot) -> list[tuple[str, int]]:
    """Return the table of doses as a label prints it; none where none is known."""
    if lot.batch.formula_version.formula.purpose != Formula.Purpose.WASH:
        return []
    try:
        return [(row.word, row.ml) for row in dose_table(lot.batch)]
    except dosing.NotKnownError:
        return []


def beyond_bottle(
    lot: FillingLot, texts: Iterable[LabelVersion]
) -> list[tuple[LabelVersion, list[str]]]:
    """Return the texts that would print doses a bottle cannot hold, and which."""
    texts = list(texts)
    table = doses_of(lot) if any(text.doses for text in texts) else []
    found = [
        (
            text,
            doses_beyond(
                lot.nominal_ul,
                doses=table if text.doses else [],
                directions=text.directions,
            ),
        )
        for text in texts
    ]
    return [(text, beyond) for text, beyond in found if beyond]


@needs(Right.MAKER)
def labels(request: HttpRequest, code: str) -> HttpResponse:
    """Issue labels for bottles of a filling lot."""
    lot = filling_lot_by_code(code)
    asked = asked_of(lot)
    texts = label_texts.approved_in(lot.batch.formula_version.formula)
    form = LabelIssueForm(
        request.POST or None,
        labels=list(texts.values()),
        count=lot.count,
        bands=asked.choices,
        reckoned=asked.reckoned,
        initial=_first_guess(lot, asked),
    )
    return acts.handle(
        request,
        form,
        do=lambda facts, submission: labelling.issue(
            by=user_of(request),
            filling_lot=lot,
            fits=check_fit,
            doses=doses_of(lot),
            submission=submission,
            **facts,
        ),
        then=page_of_issue,
        said=said_of,
        home=page_of_lot(lot),
        title=f"Issue labels for {lot.code}",
        submit="Issue these labels",
        template="quality/labels.html",
        context={
            "lot": lot,
            "lead": f"{lot.count} bottles of {volume(lot.nominal_ul)} each.",
            "refused": labelling.why_not_labelled(lot),
            "texts": texts,
            "beyond_bottle": beyond_bottle(lot, texts.values()),
            "asked": asked,
            "content": asked.content,
            "address_is_local": address_is_local(),
        },
    )


def _first_guess(lot: FillingLot, asked: Asked) -> dict[str, Any]:
    """Return what the form begins with: bottles without a label, the sheet last used.

    No class of contents where the question is open: nobody shall pass over it.
    """
    labelled = LabelCopy.objects.filter(issue__filling_lot=lot).values("bottle")
    bare = lot.bottles.filter(status__in=labelling.LABELLED).exclude(pk__in=labelled)
    last = LabelIssue.objects.order_by("pk").last()
    guess: dict[str, Any] = {"numbers": as_spans(bare.values_list("number", flat=True))}
    if last is not None:
        placement = labelling.placement_of(last)
        guess |= {
            "sheet": placement.sheet.name,
            "offset_x": placement.offset_x,
            "offset_y": placement.offset_y,
        }
    if asked.content is None:
        guess["band"] = asked.reckoned
    return guess


def said_of(row: LabelIssue) -> str:
    """Return what is said of an issue; a warning where its codes lead nowhere."""
    printed = row.copies.count() + row.specimens
    words = (
        "1 label is issued. Print it, and count what becomes of it."
        if printed == 1
        else f"{printed} labels are issued. Print them, and count what becomes of each."
    )
    if not address_is_local():
        return words
    return Mind(
        f"{words} Their codes say {row.sheet['address']}, which only this computer can"
        " open: set KETTLEBOOK_URL before you print real labels."
    )
