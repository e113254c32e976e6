"""Forms for limits, signatures and recalls."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django import forms

from producer.forms.base import ActForm, ReasonForm
from producer.forms.fields import NumberField
from quality.models import Characteristic, Limit, Recall, Signature
from quality.statistics.conformity import RULE, RULES


class LimitForm(ReasonForm):
    """A new version of a limit; ``of`` are the characteristics to choose from."""

    characteristic = forms.ChoiceField(
        label="Of",
        help_text=(
            "pH on the scale of its method; yield variance below zero where water boils"
            " off; the mean content in % of what the label says, so that 100 is just"
            " full. Clarity needs no figures: it must be clear."
        ),
    )
    lower = NumberField(label="Lower limit", places=3, required=False)
    upper = NumberField(label="Upper limit", places=3, required=False)
    method = forms.CharField(
        label="Method",
        max_length=120,
        required=False,
        help_text="How it is measured. For pH leave it empty: the formula says it.",
    )
    rule = forms.ChoiceField(
        label="How the ± of a value counts",
        choices=[(one.slug, f"{one.name}. {one.meaning}") for one in RULES.values()],
        initial=RULE.slug,
        widget=forms.RadioSelect,
    )
    effect = forms.ChoiceField(
        label="A value outside",
        choices=Limit.Effect.choices,
        initial=Limit.Effect.HOLD,
        widget=forms.RadioSelect,
        help_text="pH and clarity always stop it: alkali burns, and oil is not soap.",
    )

    field_order = (
        "characteristic",
        "lower",
        "upper",
        "method",
        "rule",
        "effect",
        "reason",
    )

    def __init__(
        self, *args: Any, of: Sequence[Characteristic], **options: Any
    ) -> None:
        super().__init__(*args, **options)
        self.fields["characteristic"].choices = [  # type: ignore[attr-defined]
            (one.value, one.label) for one in of
        ]
        if Characteristic.PH not in of:
            for name in ("characteristic", "effect"):
                self.fields[name].help_text = ""
            self.fields["method"].help_text = "What the certificate should say of it."


class SignedForm(ActForm):
    """What is signed: which state was read, and the password again."""

    seen = forms.CharField(widget=forms.HiddenInput, required=False)
    password = forms.CharField(
        label="Your password again",
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
        help_text="It stands for your signature.",
    )

    def clean(self) -> dict[str, Any] | None:
        """Refuse a form that does not say which state of the record was read."""
        cleaned = super().clean()
        if not self.cleaned_data.get("seen"):
            raise forms.ValidationError(
                "The form does not say what you read. Open the page again, read it,"
                " and sign there."
            )
        return cleaned


class SignForm(SignedForm):
    """A decision about a batch, with the password again."""

    meaning = forms.ChoiceField(label="I sign as", widget=forms.RadioSelect)
    reason = forms.CharField(
        label="Why",
        required=False,
        widget=forms.Textarea({"rows": 2}),
        help_text=(
            "Needed for everything but a release for which nothing is to be weighed."
        ),
    )
    field_order = ("seen", "meaning", "reason", "password")

    def __init__(
        self, *args: Any, meanings: tuple[Signature.Meaning, ...], **options: Any
    ) -> None:
        super().__init__(*args, **options)
        self.fields["meaning"].choices = [  # type: ignore[attr-defined]
            (meaning.value, meaning.label) for meaning in meanings
        ]


class RecallForm(ReasonForm):
    """Open a recall."""

    hazard_class = forms.ChoiceField(
        label="How bad could it be",
        choices=Recall.HazardClass.choices,
        widget=forms.RadioSelect,
    )
    reason = forms.CharField(
        label="What is wrong",
        widget=forms.Textarea({"rows": 2}),
        help_text="For the record; not shown to the public.",
    )
    public_notice = forms.CharField(
        label="What a person with a bottle should do",
        widget=forms.Textarea({"rows": 3}),
        help_text="Shown on the bottle page at once; not for a mock recall.",
        required=False,
        initial=(
            "Do not use it. Keep it closed and away from children, and contact us: we"
            " take it back."
        ),
    )
    is_mock = forms.BooleanField(
        label="This is a mock recall: find and list, but freeze and show nothing",
        required=False,
    )


class NoteForm(ActForm):
    """What was done in a recall."""

    note = forms.CharField(label="What was done", widget=forms.Textarea({"rows": 3}))
