"""Forms for entries that stood on paper first."""

from __future__ import annotations

from typing import Any

from django import forms

from batches.models import Transcription
from producer.forms.base import ActForm


class PaperForm(ActForm):
    """A sheet to copy from: which one, why paper, and its photograph."""

    note = forms.CharField(
        label="Which sheet, and why on paper",
        max_length=200,
        help_text="Such as: batch sheet, both sides; the power was out from 10:40.",
    )
    file = forms.FileField(
        label="Photograph or scan of it",
        required=False,
        help_text="PDF, JPEG or PNG, to 10 MB. Not needed, but it settles questions.",
    )

    def facts(self) -> dict[str, Any]:
        """Return the note and the upload, as the service takes them."""
        facts = super().facts()
        upload = facts.pop("file")
        return {**facts, "upload": upload}


def ask_when(form: forms.Form, sheet: Transcription | None) -> None:
    """Make the time compulsory in a form that is filled in from a sheet."""
    if sheet is None:
        return
    field = form.fields["observed_at"]
    field.required = True
    field.label = "When, as the sheet says"
    field.help_text = "The time written beside the line, not the time now."
    field.error_messages["required"] = (
        "Write the time that stands on the sheet beside this line."
    )
