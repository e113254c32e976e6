"""Forms for notes of training, protective equipment, first aid and rules."""

from __future__ import annotations

import datetime

from django import forms
from django.utils import timezone

from producer.forms.base import ActForm, ReasonForm
from producer.forms.fields import DayField
from producer.models import Person, SafetyNote
from producer.services.checks import local_day


def _today() -> datetime.date:
    return local_day(timezone.now())


class SafetyNoteForm(ActForm):
    """What was done, by or for whom, and when again."""

    kind = forms.ChoiceField(label="What it is about", choices=SafetyNote.Kind.choices)
    topic = forms.CharField(
        label="What it was",
        max_length=200,
        help_text="Such as: handling potash; gloves replaced; eyewash rinsed.",
    )
    person = forms.ModelChoiceField(
        Person.objects.filter(deactivated_at__isnull=True),
        label="Who",
        required=False,
        empty_label="the premises as a whole",
        help_text="Training is always somebody’s.",
    )
    done_on = DayField(label="Done on", initial=_today)
    due_on = DayField(label="Due again on", required=False)


class AmendSafetyNoteForm(SafetyNoteForm, ReasonForm):
    """A correction of a note."""

    field_order = ("kind", "topic", "person", "done_on", "due_on", "reason")
