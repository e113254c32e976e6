"""Forms for deviations: open one, add a step, decide with the password."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django import forms

from producer.forms.base import ActForm
from producer.forms.fields import ObservedField
from quality.forms.deciding import SignedForm
from quality.models import Characteristic, Deviation, DeviationStep
from quality.services.deviating import STEPS

CLASS_HELP = (
    "When in doubt, the worse one: it can be changed with a reason while it is open."
)


class OpenDeviationForm(ActForm):
    """A new deviation."""

    characteristic = forms.ChoiceField(
        label="Of which result",
        required=False,
    )
    classification = forms.ChoiceField(
        label="Class, as far as you can see now",
        choices=Deviation.Class.choices,
        widget=forms.RadioSelect,
        help_text=CLASS_HELP,
    )
    what = forms.CharField(
        label="What happened",
        widget=forms.Textarea({"rows": 3}),
        help_text="What was seen, where, and what it should have been.",
    )
    observed_at = ObservedField()

    def __init__(
        self, *args: Any, results: Sequence[Characteristic], **options: Any
    ) -> None:
        super().__init__(*args, **options)
        if not results:  # an instrument, water and acids have none of their own
            del self.fields["characteristic"]
            return
        self.fields["characteristic"].choices = [  # type: ignore[attr-defined]
            ("", "no result is concerned"),
            *((one.value, one.label) for one in results),
        ]


class StepForm(ActForm):
    """A cause, a further test, an action or another class."""

    kind = forms.ChoiceField(
        label="This is",
        choices=[(kind.value, kind.label) for kind in STEPS],
        widget=forms.RadioSelect,
    )
    classification = forms.ChoiceField(
        label="New class",
        required=False,
        choices=[("", "stays as it is"), *Deviation.Class.choices],
        help_text="Only where it changes; from critical, a reviewer lowers it. Raised"
        " to critical, what is released is held at once.",
    )
    text = forms.CharField(
        label="What was found, tested or done",
        widget=forms.Textarea({"rows": 3}),
        help_text=(
            "A further test is recorded on the page of the batch or lot as any other;"
            " here stands what it says about the deviation."
        ),
    )
    observed_at = ObservedField()


class CloseForm(SignedForm):
    """A decision, with the password again."""

    decision = forms.ChoiceField(
        label="I decide",
        choices=DeviationStep.Decision.choices,
        widget=forms.RadioSelect,
    )
    text = forms.CharField(
        label="Why; of a concession, for what and on which conditions",
        widget=forms.Textarea({"rows": 3}),
        help_text="Stays on record, and stands at the review of the batch.",
    )
    field_order = ("seen", "decision", "text", "password")

    def __init__(
        self, *args: Any, decisions: list[DeviationStep.Decision], **options: Any
    ) -> None:
        super().__init__(*args, **options)
        self.fields["decision"].choices = [  # type: ignore[attr-defined]
            (one.value, one.label) for one in decisions
        ]
