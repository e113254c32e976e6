"""Forms about a recall: who was told, each attempt to reach somebody, the closing."""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

from django import forms

from producer.forms.base import ActForm, ReasonForm
from producer.forms.fields import ObservedField
from producer.models import Consignee
from quality.forms.deciding import NoteForm, SignedForm
from quality.models import IN_A_MOCK, Recall, RecallContact
from quality.services import recall_levels
from quality.services.recall_roots import why_no_time

NO_NAMES = (
    "In a few words. No name, number or address of a person: contact data can be"
    " erased, this log cannot."
)


ON_THE_WALL = "By the clock on the wall."


class WindowForm(forms.Form):
    """A time in which something was made or filled."""

    since = ObservedField(label="From", required=True, help_text=ON_THE_WALL)
    until = ObservedField(label="Until", required=True, help_text=ON_THE_WALL)
    during = forms.ChoiceField(
        label="What is meant",
        choices=Recall.During.choices,
        initial=Recall.During.BOTH,
        widget=forms.RadioSelect,
    )

    def clean(self) -> dict[str, Any]:
        """Refuse a time that does not end after it begins."""
        facts: dict[str, Any] = super().clean() or {}
        since, until = facts.get("since"), facts.get("until")
        for name, at in (("since", since), ("until", until)):
            if at and why_no_time(at):
                self.add_error(name, why_no_time(at))
                return facts
        if since and until and since >= until:
            self.add_error("until", "A time ends after it begins.")
        return facts


class NotifiedForm(NoteForm):
    """That the holders are notified, and of how many it is made sure."""

    level = forms.ChoiceField(
        label="Of how many holders do you make sure that they were reached",
        choices=list(recall_levels.WORDS.items()),
        initial=recall_levels.DEFAULT,
        widget=forms.RadioSelect,
        help_text=(
            f"With fewer than {recall_levels.MANY} holders: A. {recall_levels.SOURCE}"
        ),
    )
    percent = forms.IntegerField(
        label="Level B: how many per cent", required=False, min_value=1, max_value=99
    )


class ContactForm(ReasonForm):
    """An attempt to reach somebody; without ``amending`` it needs no reason."""

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
        help_text="Such as “visitors of the open day”. No name of a person.",
    )
    means = forms.ChoiceField(label="How", choices=RecallContact.Means.choices)
    outcome = forms.ChoiceField(
        label="What came of it",
        choices=RecallContact.Outcome.choices,
        widget=forms.RadioSelect,
    )
    said = forms.CharField(
        label="What they said",
        required=False,
        widget=forms.Textarea({"rows": 2}),
        help_text=NO_NAMES,
    )
    held = forms.IntegerField(
        label="Bottles they say they hold", required=False, min_value=0
    )
    used_up = forms.IntegerField(
        label="Bottles they say are used up", required=False, min_value=0
    )
    observed_at = ObservedField(label="When it was tried")

    field_order = (
        *("consignee", "who", "means", "outcome", "said"),
        *("held", "used_up", "observed_at", "reason"),
    )

    def __init__(
        self, *args: Any, recall: Recall, amending: bool = False, **options: Any
    ) -> None:
        super().__init__(*args, **options)
        fields: dict[str, Any] = self.fields
        fields["consignee"].queryset = Consignee.objects.order_by("name")
        if amending:  # when it was tried stays
            del fields["observed_at"]
        else:
            del fields["reason"]
        if recall.is_mock:
            fields["outcome"].choices = [
                (slug.value, words) for slug, words in IN_A_MOCK.items()
            ]
            fields["outcome"].label = "MOCK: call nobody. Would you reach them?"
            fields["said"].label = "Note"
            fields["means"].label = "How you would"
            del fields["held"], fields["used_up"]


class HazardForm(ActForm):
    """How bad it could be, in the words of the maker."""

    happened = forms.CharField(
        label="What has happened already",
        widget=forms.Textarea({"rows": 2}),
        help_text="Injuries, complaints, plants that were burnt; or that nothing has."
        " No name of a person.",
    )
    exposed = forms.CharField(
        label="Who could be hurt",
        widget=forms.Textarea({"rows": 2}),
        help_text="Whoever uses it; children; fish and water; the plants.",
    )
    public_notice = forms.CharField(
        label="What a person with a bottle should do, and what it may do to them",
        widget=forms.Textarea({"rows": 4}),
        required=False,
        help_text="Shown on the bottle page and in the notices at once; the words"
        " before stay in the journal. Not for a mock recall.",
    )
    harm = forms.CharField(
        label="How, and how badly", widget=forms.Textarea({"rows": 2})
    )
    likelihood = forms.CharField(
        label="How likely, and by when", widget=forms.Textarea({"rows": 2})
    )
    hazard_class = forms.ChoiceField(
        label="How bad it could be",
        choices=Recall.HazardClass.choices,
        widget=forms.RadioSelect,
    )
    depth = forms.ChoiceField(
        label="How far down you go",
        choices=Recall.Depth.choices,
        widget=forms.RadioSelect,
        help_text="Your own judgement, after 21 CFR 7.41 and 7.42 as a pattern. What"
        " your authority wants to be told, and when, ask it.",
    )


class AllClearForm(ActForm):
    """That somebody was told that theirs are not affected."""

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
        help_text="No name of a person.",
    )
    means = forms.ChoiceField(label="How", choices=RecallContact.Means.choices)
    said = forms.CharField(
        label="What was said",
        required=False,
        widget=forms.Textarea({"rows": 2}),
        help_text=NO_NAMES,
    )

    def __init__(self, *args: Any, clear: Collection[int], **options: Any) -> None:
        super().__init__(*args, **options)
        fields: dict[str, Any] = self.fields
        known = Consignee.objects.filter(pk__in=clear)
        fields["consignee"].queryset = known.order_by("name")


class CloseForm(SignedForm, NoteForm):
    """The closing of a recall, with the password again."""

    why_not = forms.CharField(
        label="Why not every holder was tried or reached",
        required=False,
        widget=forms.Textarea({"rows": 2}),
        help_text="Needed where that is so; it stays on record.",
    )
    field_order = ("seen", "note", "why_not", "password")
