"""Notes of training, protective equipment, first aid and rules."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone

from producer.forms.base import ReasonForm
from producer.forms.safety import AmendSafetyNoteForm, SafetyNoteForm
from producer.models import Right, SafetyNote
from producer.quantities import whole_number
from producer.services import safety as service
from producer.services.checks import local_day
from producer.templatetags.kettlebook import day
from producer.views import acts
from producer.views.acts import needs, read_only, user_of


@read_only
def safety(request: HttpRequest) -> HttpResponse:
    """List the notes that stand, what is due first, and take a new one."""
    today = local_day(timezone.now())
    return render(
        request,
        "producer/safety.html",
        {
            "notes": service.standing_notes(),
            "today": today,
            "soon": today + service.SOON,
            "form": SafetyNoteForm(),
        },
    )


@needs(Right.MAKER)
def safety_new(request: HttpRequest) -> HttpResponse:
    """Note what was done; “?again=” fills in what one before was about."""
    return acts.handle(
        request,
        SafetyNoteForm(request.POST or None, initial=_again(request)),
        do=lambda facts, submission: service.record_note(
            by=user_of(request), submission=submission, **facts
        ),
        then=lambda _: reverse("producer:safety"),
        said="It is noted.",
        home=reverse("producer:safety"),
        title="Training and equipment: a note",
        submit="Note it",
    )


@needs(Right.MAKER)
def safety_amend(request: HttpRequest, pk: int) -> HttpResponse:
    """Correct a note."""
    found = get_object_or_404(SafetyNote, pk=pk)
    return acts.handle(
        request,
        AmendSafetyNoteForm(request.POST or None, initial=_of(found, all_of_it=True)),
        do=lambda facts, submission: service.amend_note(
            by=user_of(request), note=found, submission=submission, **facts
        ),
        then=lambda _: reverse("producer:safety"),
        said="The note is corrected; the old one stays in the journal.",
        home=reverse("producer:safety"),
        title="Correct a note",
        submit="Record the correction",
    )


@needs(Right.MAKER)
def safety_void(request: HttpRequest, pk: int) -> HttpResponse:
    """Take a note back."""
    found = get_object_or_404(SafetyNote.objects.select_related("person"), pk=pk)
    return acts.handle(
        request,
        ReasonForm(request.POST or None),
        do=lambda facts, submission: service.amend_note(
            by=user_of(request), note=found, void=True, submission=submission, **facts
        ),
        then=lambda _: reverse("producer:safety"),
        said="The note is taken back; it stays in the journal.",
        home=reverse("producer:safety"),
        title="Take a note back",
        submit="Take it back",
        context={
            "facts": [
                ("What it was", str(found)),
                ("Who", found.person.name if found.person else ""),
                ("Done on", day(found.done_on)),
            ],
            "danger": True,
        },
    )


def _again(request: HttpRequest) -> dict[str, Any]:
    key = whole_number(request.GET.get("again"), default=0)
    former = SafetyNote.objects.filter(pk=key).first()
    return _of(former) if former else {}


def _of(note: SafetyNote, *, all_of_it: bool = False) -> dict[str, Any]:
    about = {"kind": note.kind, "topic": note.topic, "person": note.person_id}
    dates = {"done_on": note.done_on, "due_on": note.due_on}
    return {**about, **dates} if all_of_it else about
