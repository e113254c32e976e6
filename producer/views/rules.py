"""Rules that were looked up: the list, a new look, a correction."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone

from producer.forms.base import ReasonForm
from producer.forms.rules import AmendRulesCheckForm, RulesCheckForm
from producer.models import Right, RulesCheck
from producer.services import rules as service
from producer.services.checks import local_day
from producer.templatetags.kettlebook import moment
from producer.views import acts
from producer.views.acts import needs, read_only, user_of

LEAD = (
    "Nothing here says what the rules are. Ask the authority of your place; what you"
    " read, and when, is kept."
)


@read_only
def rules(request: HttpRequest) -> HttpResponse:
    """Show what was last looked up of each topic, and what before."""
    standing = service.standing_checks()
    missing = set(RulesCheck.Topic.values) - {row.topic for row in standing}
    return render(
        request,
        "producer/rules.html",
        {
            "standing": standing,
            "earlier": service.earlier_checks(),
            "never": [
                one for one in RulesCheck.Topic if one in missing and one != "other"
            ],
            "today": local_day(timezone.now()),
            "lead": LEAD,
        },
    )


@needs(Right.MAKER)
def rules_new(request: HttpRequest) -> HttpResponse:
    """Record a look; “?about=” fills in the topic and where it was read before."""
    about = request.GET.get("about", "")
    former = service.newest_of(about)
    initial = {"topic": about}
    if former:
        initial |= {"country": former.country, "page": former.page}
    return acts.handle(
        request,
        RulesCheckForm(request.POST or None, initial=initial),
        do=lambda facts, submission: service.record_rules_check(
            by=user_of(request), submission=submission, **facts
        ),
        then=lambda _: reverse("producer:rules"),
        said="It is recorded, and every hint about these rules says so.",
        home=reverse("producer:rules"),
        title="Rules looked up",
        context={"lead": LEAD},
    )


@needs(Right.MAKER)
def rules_amend(request: HttpRequest, pk: int) -> HttpResponse:
    """Correct what was looked up."""
    found = get_object_or_404(RulesCheck, pk=pk)
    initial = {
        "topic": found.topic,
        "country": found.country,
        "page": found.page,
        "says": found.says,
        "again_on": found.again_on,
    }
    return acts.handle(
        request,
        AmendRulesCheckForm(request.POST or None, initial=initial),
        do=lambda facts, submission: service.amend_rules_check(
            by=user_of(request), check=found, submission=submission, **facts
        ),
        then=lambda _: reverse("producer:rules"),
        said="It is corrected; the old words stay below.",
        home=reverse("producer:rules"),
        title="Correct what was looked up",
        submit="Record the correction",
        context={"lead": "Looking again is a new record, not a correction."},
    )


@needs(Right.MAKER)
def rules_void(request: HttpRequest, pk: int) -> HttpResponse:
    """Take back what was looked up."""
    found = get_object_or_404(RulesCheck, pk=pk)
    return acts.handle(
        request,
        ReasonForm(request.POST or None),
        do=lambda facts, submission: service.amend_rules_check(
            by=user_of(request),
            check=found,
            void=True,
            submission=submission,
            **facts,
        ),
        then=lambda _: reverse("producer:rules"),
        said="It is taken back; it stays in the list below.",
        home=reverse("producer:rules"),
        title="Take back what was looked up",
        submit="Take it back",
        context={
            "facts": [
                ("About", found.get_topic_display()),
                ("Where", found.country),
                ("What was read", found.page),
                ("When", moment(found.observed_at)),
            ],
            "danger": True,
        },
    )
