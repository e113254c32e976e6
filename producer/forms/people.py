"""Forms for the first owner, accounts, rights and passwords."""

from __future__ import annotations

from django import forms
from django.contrib.auth.forms import AuthenticationForm
from django.core.exceptions import ValidationError

from producer.forms.base import ActForm, ReasonForm
from producer.models import Person, Right

LONGEST_NAME = 60
RIGHTS = [
    (Right.OWNER.value, "Owner: people and settings"),
    (Right.MAKER.value, "Maker: goods in, batches, filling, dispatch"),
    (Right.REVIEWER.value, "Reviewer: releases, rejects, holds, recalls"),
    (Right.AUDITOR.value, "Auditor: reads everything, changes nothing"),
]


def rights_field(**options: object) -> forms.TypedMultipleChoiceField:
    """Return the boxes in which rights are ticked."""
    return forms.TypedMultipleChoiceField(
        label="Rights",
        choices=RIGHTS,
        coerce=Right,
        widget=forms.CheckboxSelectMultiple,
        required=False,
        **options,  # type: ignore[arg-type]
    )


def password_field(label: str, autocomplete: str) -> forms.CharField:
    """Return a password field; what was typed is not shown again."""
    return forms.CharField(
        label=label,
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": autocomplete}),
    )


class SetUpForm(ActForm):
    """The first-run page: the premises and its owner."""

    code = forms.CharField(
        label="Setup code",
        help_text="Printed where “serve” was started.",
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
    premises_name = forms.CharField(label="Name of the premises", max_length=120)
    time_zone = forms.CharField(
        label="Time zone", initial="Europe/London", help_text="Like Europe/Berlin."
    )
    name = forms.CharField(label="Your name, as it is printed", max_length=120)
    username = forms.CharField(
        label="Account name", max_length=60, help_text="Small letters and digits."
    )
    password = password_field("Password, at least ten characters", "new-password")
    is_maker = forms.BooleanField(
        label="I also make soap", required=False, initial=True
    )
    is_reviewer = forms.BooleanField(
        label="I also review batches",
        required=False,
        help_text="Never your own, unless this is a one-person premises.",
    )


class SignInForm(AuthenticationForm):
    """Name and password; however a name is typed, it is one name to the lock-out."""

    def clean_username(self) -> str:
        """Return the name in small letters, as every account has it."""
        username = str(self.cleaned_data["username"]).lower()
        if len(username) > LONGEST_NAME:
            raise ValidationError("No account name is that long.")
        return username


class AccountForm(ActForm):
    """A new account, for a new person or one we know."""

    person = forms.ModelChoiceField(
        Person.objects.all(),
        label="Person",
        required=False,
        empty_label="a new person, named below",
    )
    name = forms.CharField(
        label="Name of the new person", required=False, max_length=120
    )
    username = forms.CharField(label="Account name", max_length=60)
    password = password_field("First password", "new-password")
    rights = rights_field()


class RightsForm(ReasonForm):
    """The rights of an account."""

    rights = rights_field()

    field_order = ("rights", "reason")


class OwnPasswordForm(ActForm):
    """A new password for oneself."""

    current_password = password_field("Current password", "current-password")
    password = password_field("New password", "new-password")


class OtherPasswordForm(ActForm):
    """A new password that the owner sets for somebody."""

    password = password_field("New password", "new-password")
