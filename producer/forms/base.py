"""The form behind every act."""

from __future__ import annotations

import uuid
from typing import Any

from django import forms
from django.core.validators import MaxLengthValidator

LONGEST_TEXT = 5_000  # signs: two pages of print
LONGEST_HIDDEN = 100_000  # what a page's own script sends


class _Longest(MaxLengthValidator):
    """A longest length of texts; an amount or a number is none once it is cleaned."""

    def clean(self, x: Any) -> int:
        return len(x) if isinstance(x, str) else 0


def bound_texts(form: forms.BaseForm) -> None:
    """Give every text that has no longest length of its own one.

    What is kept is read, searched for claims and printed ever after.
    """
    for field in form.fields.values():
        if isinstance(field, forms.CharField) and field.max_length is None:
            is_hidden = field.widget.is_hidden
            field.max_length = LONGEST_HIDDEN if is_hidden else LONGEST_TEXT
            field.validators.append(
                _Longest(
                    field.max_length,
                    "At most %(limit_value)d signs; these are %(show_value)d. Shorten"
                    " it, and keep the rest as a file.",
                )
            )


def say_what_is_missing(form: forms.BaseForm) -> None:
    """Say in our own voice what a visible field lacks, or is too large or small for."""
    for field in form.fields.values():
        if not field.widget.is_hidden:
            field.error_messages["required"] = "This is needed."
            field.error_messages.setdefault(
                "max_value", "At most %(limit_value)s. Write a smaller number."
            )
            field.error_messages.setdefault(
                "min_value", "At least %(limit_value)s. Write a larger number."
            )


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

    def full_clean(self) -> None:
        """Check it, no text of it longer than anybody reads."""
        bound_texts(self)
        super().full_clean()

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
