"""What every legal hint says: that rules differ, and when they were last checked."""

from __future__ import annotations

from typing import Any

from django import template

from producer.models import RulesCheck, User
from producer.services import rules as service
from producer.services.checks import local_day

register = template.Library()


@register.inclusion_tag("producer/_rules_checked.html", takes_context=True)
def rules_checked(context: template.Context, topic: str) -> dict[str, Any]:
    """Say when and where the rules about ``topic`` were last checked.

    ``{% rules_checked "spray" %}``; the topics are those of :class:`RulesCheck`. On a
    page it leads to the list; on paper, where nobody is signed in, there is no link.
    Raises :class:`ValueError` for a topic that there is not.
    """
    about = RulesCheck.Topic(topic)
    found = service.newest_of(topic)
    user = context.get("user")
    return {
        "differ": service.DIFFER,
        "never": service.NEVER,
        "topic": about,
        "found": found,
        "on": local_day(found.observed_at) if found else None,
        "links": isinstance(user, User),
    }
