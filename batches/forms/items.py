"""Forms for the GTINs of a product."""

from __future__ import annotations

from django import forms

from producer.forms.base import ActForm, ReasonForm
from producer.forms.fields import VolumeField


class ItemNumberForm(ActForm):
    """The number that was allotted to a product in bottles of one size."""

    nominal_ul = VolumeField(
        label="Nominal quantity of a bottle",
        help_text="As it is filled, such as 500 ml.",
    )
    gtin = forms.CharField(
        label="GTIN",
        max_length=20,
        help_text="All its digits, the last one too. 12, 13 or 14 of them.",
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
    )


class AmendItemNumberForm(ReasonForm):
    """Another number for the same product and size."""

    gtin = ItemNumberForm.base_fields["gtin"]
    field_order = ("gtin", "reason")
