"""What a blank sheet is asked for."""

from __future__ import annotations

from django import forms

from producer.forms.fields import MassField


class BlankSheetForm(forms.Form):
    """A mass to compute the lines of a blank sheet for, or none."""

    basis_mg = MassField(
        label="For how much",
        unit="kg",
        above_zero=True,
        required=False,
        help_text="All oils together for a cook; the paste for a dilution. Empty:"
        " the sheet has the masses for one kilogram and room to compute.",
    )
