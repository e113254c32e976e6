"""Forms that issue labels for bottles and count what became of them."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from decimal import Decimal
from typing import TYPE_CHECKING, Any, cast

from django import forms
from django.core.exceptions import ValidationError

from batches.forms.sheet_formats import LengthField
from batches.models import LabelCount, LabelVersion
from batches.services.labelling import MOST_SPECIMENS
from batches.services.sheet_formats import all_formats
from batches.sheets import LARGEST_OFFSET, Placement, named
from producer.errors import Refusal
from producer.forms.base import ActForm, ReasonForm
from producer.forms.fields import ObservedField

LARGEST_OFFSET_MM = Decimal(LARGEST_OFFSET) / 100
_SPAN = re.compile(r"([0-9]{1,6})(?:-([0-9]{1,6}))?")


def numbers_in(text: str, *, most: int) -> list[int]:
    """Return the numbers that a text like “1-10, 14” names, in order, each once.

    Raises :class:`ValidationError` for what is no number or range of 1 to ``most``.
    """
    found: set[int] = set()
    # Blanks first made one: two runs of them around a dash take a time that is squared.
    tidy = re.sub(" ?[-–] ?", "-", " ".join(text.split()))
    for part in re.split("[ ,;]+", tidy):
        if not part:
            continue
        span = _SPAN.fullmatch(part)
        first = int(span[1]) if span else 0
        last = int(span[2] or span[1]) if span else 0
        if not 1 <= first <= last <= most:
            raise ValidationError(
                f"“{part}” is no bottle of this lot. {_examples(most)}"
            )
        found.update(range(first, last + 1))
    return sorted(found)


def _examples(most: int) -> str:
    """Say how the numbers of a lot of ``most`` bottles are written."""
    if most == 1:
        return "It has one bottle: write 1."
    return f"Write numbers from 1 to {most}, such as 1-{most} or 1, {most}."


def as_spans(numbers: Iterable[int]) -> str:
    """Return numbers as people write them: “1-10, 14”."""
    spans: list[list[int]] = []
    for number in sorted(numbers):
        if spans and number == spans[-1][1] + 1:
            spans[-1][1] = number
        else:
            spans.append([number, number])
    return ", ".join(
        f"{first}-{last}" if first != last else str(first) for first, last in spans
    )


if TYPE_CHECKING:
    _LabelChoice = forms.ModelChoiceField[LabelVersion]
else:
    _LabelChoice = forms.ModelChoiceField


class LabelChoice(_LabelChoice):
    """A choice among the approved texts of a product, one a language."""

    def label_from_instance(self, label: LabelVersion) -> str:
        """Name a text by its language and version."""
        return f"{label.get_language_display()}, version {label.version}"


class LabelIssueForm(ActForm):
    """Which labels are printed, on what, with which class of contents."""

    label = LabelChoice(LabelVersion.objects.none(), label="Text", empty_label=None)
    numbers = forms.CharField(
        label="For the bottles",
        required=False,
    )
    reason = forms.CharField(
        label="If one of them has a label already, why another",
        required=False,
        help_text="It is a further copy of the same identity. Count the old one too.",
    )
    band = forms.ChoiceField(label="Class of contents, soap", widget=forms.RadioSelect)
    band_reason = forms.CharField(
        label="If it is not the class reckoned, why", required=False
    )
    sheet = forms.ChoiceField(label="Printed on")
    start = forms.IntegerField(
        label="First free label on the sheet",
        min_value=1,
        initial=1,
        help_text="1 on a new sheet. Count along the rows.",
    )
    offset_x = LengthField(
        label="Move all to the right by",
        within=(-LARGEST_OFFSET_MM, LARGEST_OFFSET_MM),
        required=False,
        help_text="For a printer that pulls askew; below zero moves to the left.",
    )
    offset_y = LengthField(
        label="Move all down by",
        within=(-LARGEST_OFFSET_MM, LARGEST_OFFSET_MM),
        required=False,
        help_text="Below zero moves up.",
    )
    specimens = forms.IntegerField(
        label="Specimens besides, without a bottle",
        min_value=0,
        max_value=MOST_SPECIMENS,
        required=False,
        help_text="To hold against the stock, or to keep with the records.",
    )

    groups: tuple[tuple[str, tuple[str, ...]], ...] = (
        ("What is printed", ("label", "numbers", "reason")),
        ("The stock in the printer", ("sheet", "start", "offset_x", "offset_y")),
        ("Besides", ("specimens",)),
    )

    def __init__(
        self,
        *args: Any,
        labels: Sequence[LabelVersion],
        count: int,
        bands: Sequence[str],
        reckoned: str,
        **options: Any,
    ) -> None:
        super().__init__(*args, **options)
        self._count, self._reckoned = count, reckoned
        self.fields[
            "numbers"
        ].help_text = f"{_examples(count)} Empty when you print specimens only."
        field = cast("LabelChoice", self.fields["label"])
        field.queryset = LabelVersion.objects.filter(pk__in=[one.pk for one in labels])
        if len(labels) > 1:
            field.empty_label = "choose the language"
        sheets = cast("forms.ChoiceField", self.fields["sheet"])
        sheets.choices = [(one.name, one.name) for one in all_formats()]
        if set(bands) <= {reckoned}:
            del self.fields["band"], self.fields["band_reason"]
            return
        choice = cast("forms.ChoiceField", self.fields["band"])
        choice.choices = [(band, band) for band in bands]
        what = "What is printed", ("label", "numbers", "reason", "band", "band_reason")
        self.groups = (what, *self.groups[1:])

    def clean_numbers(self) -> list[int]:
        """Return the numbers of the bottles."""
        return numbers_in(self.cleaned_data["numbers"], most=self._count)

    def clean(self) -> dict[str, Any]:
        """Put the sheet, its start and the offsets together."""
        found: dict[str, Any] = super().clean() or self.cleaned_data
        if "sheet" not in found or found.get("start") is None:
            return found
        try:
            found["placement"] = Placement(
                named(found["sheet"], all_formats()),
                offset_x=found.get("offset_x") or 0,
                offset_y=found.get("offset_y") or 0,
                start=found["start"],
            )
        except Refusal as refused:
            self.add_error(refused.field or "sheet", refused.message)
        return found

    def facts(self) -> dict[str, Any]:
        """Return what the service takes."""
        facts = super().facts()
        for name in ("sheet", "start", "offset_x", "offset_y"):
            facts.pop(name)
        facts.setdefault("band", self._reckoned)
        return {**facts, "specimens": facts["specimens"] or 0}


class LabelCountForm(ActForm):
    """What became of labels, as it was counted by hand."""

    kind = forms.ChoiceField(
        label="They were", choices=LabelCount.Kind.choices, widget=forms.RadioSelect
    )
    count = forms.IntegerField(
        label="How many", min_value=1, help_text="As counted by hand."
    )
    note = forms.CharField(label="Note", required=False, max_length=200)
    observed_at = ObservedField()


class AmendLabelCountForm(ReasonForm):
    """A count as it should have been."""

    count = forms.IntegerField(label="How many, as it should read", min_value=1)
    note = forms.CharField(label="Note", required=False, max_length=200)

    field_order = ("count", "note", "reason")
