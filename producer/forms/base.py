"""The form behind every act."""

from __future__ import annotations

import uuid
from typing import Any

from django import forms


def say_what_is_missing(form: forms.BaseForm) -> None:
    """Give every visible compulsory field an error in our own voice."""
    for field in form.fields.values():
        if not field.widget.is_hidden:
            field.error_messages["required"] = "This is needed."


class ActForm(forms.Form):
    """A form that is carried out at most once, however often it arrives.

    The hidden ``submission`` is made when the page is shown; the journal holds it
    unique, so a double tap or a repeated request changes nothing.
    """

    submission = forms.UUIDField(
        widget=forms.HiddenInput,
        initial=uuid.uuid4,
        error_messages={
            "required": "This page was incomplete. Open it again and repeat."
        },
    )

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        say_what_is_missing(self)

    def facts(self) -> dict[str, Any]:
        """Return the cleaned values a service takes: all but the submission."""
        return {
            name: value
            for name, value in self.cleaned_data.items()
            if name != "submission"
        }


class ReasonForm(ActForm):
    """An act that needs nothing but a reason."""

    reason = forms.CharField(
        label="Why",
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text="Stays on record.",
    )


class PlainForm(ActForm):
    """An act that needs nothing but the will to do it."""
