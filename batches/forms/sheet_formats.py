"""Forms of label stock: lengths in millimetres, kept in whole hundredths of one."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django import forms

from batches.models import SheetFormat
from batches.services.sheet_formats import LENGTHS
from batches.sheets import LARGEST_PAGE, MOST_ON_A_PAGE
from producer.forms.fields import NumberField
from producer.forms.registers import RegisterForm
from producer.middleware import decimal_mark
from producer.quantities import format_number

HUNDRED = 100
SHORTEST_MM, LONGEST_MM = Decimal("0.01"), Decimal(LARGEST_PAGE) / HUNDRED


class LengthField(NumberField):
    """A length in millimetres, as whole hundredths of one."""

    unit = "mm"

    def __init__(self, *, least: Decimal = SHORTEST_MM, **options: Any) -> None:
        options.setdefault("within", (least, LONGEST_MM))
        super().__init__(
            places=2, too_fine="A hundredth of a millimetre is fine enough.", **options
        )

    def parse(self, text: str) -> int:
        """Return whole hundredths of a millimetre."""
        return int(super().parse(text) * HUNDRED)

    def prepare_value(self, value: Any) -> Any:
        """Return hundredths as millimetres; what was typed stays as it was typed."""
        if not isinstance(value, int):
            return value
        return format_number(Decimal(value) / HUNDRED, mark=decimal_mark())


def _count(label: str) -> forms.IntegerField:
    return forms.IntegerField(label=label, min_value=1, max_value=MOST_ON_A_PAGE)


class SheetFormatForm(RegisterForm):
    """A page or a roll of labels, measured with a ruler."""

    page_width = LengthField(
        label="Page, width", help_text="A roll is a page of one label."
    )
    page_height = LengthField(label="Page, height")
    across = _count("Labels across")
    down = _count("Labels down")
    width = LengthField(label="Label, width")
    height = LengthField(label="Label, height")
    left = LengthField(
        label="From the left edge of the page to the first label", least=Decimal(0)
    )
    top = LengthField(
        label="From the top edge of the page to the first label", least=Decimal(0)
    )
    pitch_across = LengthField(
        label="From the left edge of a label to that of the next",
        help_text="Its width and the gap beside it; with one across, its width.",
    )
    pitch_down = LengthField(
        label="From the top edge of a label to that of the next",
        help_text="Its height and the gap below it; with one down, its height.",
    )

    groups = (
        ("What it is", ("name", "in_use")),
        ("The page", ("page_width", "page_height", "across", "down")),
        ("A label", ("width", "height")),
        ("Where they stand", ("left", "top", "pitch_across", "pitch_down")),
    )

    class Meta(RegisterForm.Meta):
        model = SheetFormat
        fields = ("name", "across", "down", *LENGTHS, "in_use")
