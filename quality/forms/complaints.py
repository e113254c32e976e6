"""Forms about a complaint: what was told, each step, the closing."""

from __future__ import annotations

from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from batches.models import Batch, Bottle, FillingLot
from producer.codes import grouped, normalise
from producer.forms.base import ActForm, ReasonForm
from producer.forms.fields import ObservedField
from producer.models import Consignee
from quality import complaint_life
from quality.complaint_life import Conclusion, Step
from quality.models import ComplaintAccount

NO_NAMES = (
    "In a few words. No name, number or address of a person: contact data can be"
    " erased, this cannot."
)
LONGEST_CODE = 300  # a whole address that was scanned


class ToldForm(ReasonForm):
    """What was told; without ``amending`` it needs no reason."""

    code = forms.CharField(
        label="Code of the bottle, filling lot or batch",
        max_length=LONGEST_CODE,
        required=False,
        help_text="As on the label. Leave it empty where they do not know it.",
    )
    said_of_it = forms.CharField(
        label="If no code is known: what they say of the bottle",
        max_length=200,
        required=False,
        help_text="Where and when they had it, what stands on it, how large it is.",
    )
    nature = forms.ChoiceField(
        label="What it is about",
        choices=[("", "choose"), *ComplaintAccount.Nature.choices],
    )
    words = forms.CharField(
        label="What was told", widget=forms.Textarea({"rows": 4}), help_text=NO_NAMES
    )
    was_hurt = forms.TypedChoiceField(
        label="Was somebody hurt",
        choices=(("no", "no"), ("yes", "yes: skin, eyes, swallowed, breathed in")),
        coerce=lambda value: value == "yes",
        widget=forms.RadioSelect,
        help_text="Ask. Then help comes first, and this page after it.",
    )
    consignee = forms.ModelChoiceField(
        Consignee.objects.none(),
        label="Who",
        required=False,
        empty_label="somebody who is not in the register",
    )
    who = forms.CharField(
        label="If not in the register: a word for them",
        max_length=120,
        required=False,
        help_text="Such as “a visitor of the open day”. No name of a person.",
    )
    means = forms.ChoiceField(
        label="How it came", choices=ComplaintAccount.Means.choices
    )
    observed_at = ObservedField(label="When it came")

    groups = (
        ("Of what", ("code", "said_of_it")),
        ("What was told", ("nature", "words", "was_hurt")),
        ("By whom", ("consignee", "who", "means")),
    )
    field_order = (
        *("code", "said_of_it", "nature", "words", "was_hurt"),
        *("consignee", "who", "means", "observed_at", "reason"),
    )

    def __init__(self, *args: Any, amending: bool = False, **options: Any) -> None:
        super().__init__(*args, **options)
        fields: dict[str, Any] = self.fields
        fields["consignee"].queryset = Consignee.objects.order_by("name")
        if amending:  # when it came stays
            del fields["observed_at"]
        else:
            del fields["reason"]

    def clean_code(self) -> dict[str, Any]:
        """Return what has this code, under the name the service takes it by."""
        text = self.cleaned_data["code"].strip()
        nothing = {"bottle": None, "filling_lot": None, "batch": None}
        if not text:
            return nothing
        bottle = Bottle.objects.listed().filter(code=normalise(text)).first()
        if bottle:
            return {**nothing, "bottle": bottle}
        lot = FillingLot.objects.filter(code=text.upper()).first()
        if lot:
            return {**nothing, "filling_lot": lot}
        batch = Batch.objects.listed().filter(stock__code=text.upper()).first()
        if batch:
            return {**nothing, "batch": batch}
        raise ValidationError(
            "No bottle, filling lot or batch has this code. Read it again; or leave it"
            " empty, and write below what they say of the bottle."
        )

    def facts(self) -> dict[str, Any]:
        """Return what the service takes: the thing itself instead of its code."""
        facts = super().facts()
        about = facts.pop("code")
        return {**facts, **about}


def told_before(row: ComplaintAccount) -> dict[str, Any]:
    """Return what the form of a correction begins with."""
    code = ""
    if row.bottle:
        code = grouped(row.bottle.code)
    elif row.filling_lot or row.batch:
        code = row.filling_lot.code if row.filling_lot else row.batch.number  # type: ignore[union-attr]
    names = ("said_of_it", "nature", "words", "consignee", "who", "means")
    return {
        **{name: getattr(row, name) for name in names},
        "code": code,
        "was_hurt": "yes" if row.was_hurt else "no",
    }


class StepForm(ActForm):
    """A step of a complaint; ``may_conclude`` says whether the conclusion is one."""

    kind = forms.ChoiceField(label="What it is", widget=forms.RadioSelect)
    text = forms.CharField(
        label="In words", widget=forms.Textarea({"rows": 4}), help_text=NO_NAMES
    )
    conclusion = forms.ChoiceField(
        label="The conclusion, if it is one",
        required=False,
        choices=[("", "–"), *((one.value, one.label) for one in Conclusion)],
    )
    reference = forms.CharField(
        label="Number or reference at the authority, if it is about one",
        max_length=120,
        required=False,
    )
    observed_at = ObservedField(label="When it was done")

    def __init__(self, *args: Any, may_conclude: bool, **options: Any) -> None:
        super().__init__(*args, **options)
        fields: dict[str, Any] = self.fields
        fields["kind"].choices = [
            (one.value, one.label)
            for one in complaint_life.ADDED
            if may_conclude or one != Step.CONCLUSION
        ]
        if not may_conclude:
            del fields["conclusion"]


class AmendStepForm(ReasonForm):
    """A correction of a step of one ``kind``, with its reason."""

    text = forms.CharField(
        label="In words", widget=forms.Textarea({"rows": 4}), help_text=NO_NAMES
    )
    conclusion = forms.ChoiceField(
        label="The conclusion",
        choices=[(one.value, one.label) for one in Conclusion],
    )
    reference = forms.CharField(
        label="Number or reference at the authority", max_length=120, required=False
    )
    field_order = ("text", "conclusion", "reference", "reason")

    def __init__(self, *args: Any, kind: str, **options: Any) -> None:
        super().__init__(*args, **options)
        if kind != Step.CONCLUSION:
            del self.fields["conclusion"]
        if kind != Step.AUTHORITY:
            del self.fields["reference"]


class CloseComplaintForm(ActForm):
    """The closing of a complaint, with a note."""

    text = forms.CharField(
        label="Note at the closing",
        widget=forms.Textarea({"rows": 3}),
        help_text=NO_NAMES,
    )
