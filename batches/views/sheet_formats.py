"""Label stock: the usual formats, and one's own."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse

from batches.forms.sheet_formats import SheetFormatForm
from batches.models import SheetFormat
from batches.services import sheet_formats as service
from batches.sheets import USUAL, Placement, Sheet, in_mm
from producer.middleware import decimal_mark
from producer.models import Right
from producer.views import acts
from producer.views.acts import needs, read_only, user_of


@dataclasses.dataclass(frozen=True, kw_only=True)
class Listed:
    """A format as the list shows it; ``places`` are left and top edge of each label."""

    sheet: Sheet
    own: SheetFormat | None = None

    @property
    def places(self) -> Iterator[tuple[int, int]]:
        """Yield left and top edge of each label, in hundredths of a millimetre."""
        for _, x, y in Placement(self.sheet).places(self.sheet.on_a_page):
            yield x, y

    @property
    def page(self) -> str:
        """Return the size of the page in words."""
        return sizes(self.sheet.page_width, self.sheet.page_height)

    @property
    def label(self) -> str:
        """Return the size of a label in words."""
        return sizes(self.sheet.width, self.sheet.height)


def sizes(width: int, height: int) -> str:
    """Return two lengths as people write them: “70 × 37 mm”."""
    words = f"{in_mm(width)} × {in_mm(height)} mm"
    return words.replace(".", decimal_mark())


@read_only
def label_formats(request: HttpRequest) -> HttpResponse:
    """List every format, each with a picture of its page."""
    return render(
        request,
        "batches/label_formats.html",
        {
            "own": [
                Listed(sheet=Sheet.like(one), own=one)
                for one in SheetFormat.objects.all()
            ],
            "usual": [Listed(sheet=sheet) for sheet in USUAL],
        },
    )


@needs(Right.MAKER)
def label_format_new(request: HttpRequest) -> HttpResponse:
    """Describe label stock of one's own."""
    return _edit(request, SheetFormatForm(request.POST or None), "registered")


@needs(Right.MAKER)
def label_format(request: HttpRequest, pk: int) -> HttpResponse:
    """Change a format, or put it out of use; what was printed stays as it was."""
    entry = get_object_or_404(SheetFormat, pk=pk)
    form = SheetFormatForm(request.POST or None, instance=entry)
    return _edit(request, form, "changed")


def _edit(request: HttpRequest, form: SheetFormatForm, done: str) -> HttpResponse:
    home = reverse("batches:label_formats")
    return acts.handle(
        request,
        form,
        do=lambda facts, submission: service.save_format(
            by=user_of(request), submission=submission, **facts
        ),
        then=lambda _: home,
        said=lambda entry: f"{entry} is {done}.",
        home=home,
        title=f"Label format: {form.instance}".rstrip(": "),
        submit="Save",
        context={
            "lead": (
                "Measure the sheet with a ruler, in millimetres. Then print one sheet"
                " of specimens and hold it against the stock."
            )
        },
    )
