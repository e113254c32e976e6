"""Rules that were looked up: when, where, and what was said there.

No rule is stated here. Whoever sells or sprays asks the authority of the place; the
program keeps the day on which somebody did, and says so wherever rules are touched.
"""

from __future__ import annotations

import datetime
import uuid
from typing import Any

from django.db import transaction
from django.utils import timezone

from producer import journal
from producer.errors import Conflict, Refusal
from producer.models import Right, RulesCheck, User
from producer.services.checks import local_day, need_reason, plausible_time, require

DIFFER = "Rules differ by place and change."
NEVER = "You have not recorded when you last checked."


@transaction.atomic
def record_rules_check(
    *,
    by: User,
    topic: str,
    country: str,
    page: str,
    says: str = "",
    again_on: datetime.date | None = None,
    observed_at: datetime.datetime | None = None,
    submission: uuid.UUID | None = None,
) -> RulesCheck:
    """Record that somebody read what an authority says, where the rules hold, and what.

    ``page`` is the office, page or leaflet, ``again_on`` the day to look again.
    """
    require(by, Right.MAKER)
    row = RulesCheck(
        entered_by=by, observed_at=plausible_time(observed_at or timezone.now())
    )
    _fill(row, topic=topic, country=country, page=page, says=says, again_on=again_on)
    row.save(force_insert=True)
    _write(by, row, "rules looked up", {}, submission)
    return row


@transaction.atomic
def amend_rules_check(
    *,
    by: User,
    check: RulesCheck,
    reason: str,
    topic: str = "",
    country: str = "",
    page: str = "",
    says: str = "",
    again_on: datetime.date | None = None,
    void: bool = False,
    submission: uuid.UUID | None = None,
) -> RulesCheck:
    """Correct what was looked up by a new row, or take it back; the old row stays.

    When it was looked up stays as it is: looking again is a new record.
    """
    require(by, Right.MAKER)
    if RulesCheck.objects.select_for_update().filter(supersedes=check).exists():
        raise Conflict("This was corrected already. Correct the newest one.")
    if check.is_void:
        raise Conflict("This was taken back; record it anew instead.")
    row = RulesCheck(
        entered_by=by,
        observed_at=check.observed_at,
        supersedes=check,
        reason=need_reason(reason),
        is_void=void,
    )
    _fill(
        row,
        topic=topic or check.topic,
        country=country or check.country,
        page=page or check.page,
        says=check.says if void else says,
        again_on=check.again_on if void else again_on,
    )
    row.save(force_insert=True)
    act = "rules looked up: taken back" if void else "rules looked up: corrected"
    _write(by, row, act, _facts(check), submission)
    return row


def newest_of(topic: str) -> RulesCheck | None:
    """Return the newest look at the rules about a topic that stands, or None."""
    rows = RulesCheck.objects.current().filter(topic=topic)
    return rows.order_by("-observed_at", "-pk").first()


def standing_checks() -> list[RulesCheck]:
    """Return the newest look at each topic, in the order of the topics."""
    rows = RulesCheck.objects.current().select_related("entered_by__person")
    newest = {row.topic: row for row in rows.order_by("observed_at", "pk")}
    return [newest[topic] for topic in RulesCheck.Topic.values if topic in newest]


def earlier_checks() -> list[RulesCheck]:
    """Return what was looked up before, newest first, corrected and taken back too."""
    newest = {row.pk for row in standing_checks()}
    rows = RulesCheck.objects.select_related("entered_by__person", "superseded_by")
    return [row for row in rows.order_by("-pk") if row.pk not in newest]


def due_checks(today: datetime.date) -> list[RulesCheck]:
    """Return the topics whose day to look again is here or past, longest due first."""
    due = [
        (row.again_on, row)
        for row in standing_checks()
        if row.again_on is not None and row.again_on <= today
    ]
    return [row for _, row in sorted(due, key=lambda pair: (pair[0], pair[1].pk))]


def last_checked(topic: str) -> str:
    """Return when and where the rules about a topic were last checked, as a sentence.

    For texts that are no template, such as a refusal; templates have the tag
    ``rules_checked``.
    """
    found = newest_of(topic)
    if found is None:
        return NEVER
    day = local_day(found.observed_at)
    return f"Last checked on {day.day} {day:%b %Y} for {found.country}: {found.page}."


def hint(topic: str) -> str:
    """Return that rules differ, and when those about a topic were last checked."""
    return f"{DIFFER} {last_checked(topic)}"


def _fill(
    row: RulesCheck,
    *,
    topic: str,
    country: str,
    page: str,
    says: str,
    again_on: datetime.date | None,
) -> None:
    if again_on is not None and again_on <= local_day(row.observed_at):
        raise Refusal(
            "The day to look again comes after the day you looked.", field="again_on"
        )
    row.topic, row.country, row.page = topic, country.strip(), page.strip()
    row.says, row.again_on = says.strip(), again_on
    row.full_clean()


def _facts(row: RulesCheck) -> dict[str, Any]:
    return {
        "topic": row.topic,
        "country": row.country,
        "page": row.page,
        "says": row.says,
        "again_on": row.again_on.isoformat() if row.again_on else None,
        "observed_at": row.observed_at.isoformat(),
        "is_void": row.is_void,
    }


def _write(
    by: User,
    row: RulesCheck,
    act: str,
    before: dict[str, Any],
    submission: uuid.UUID | None,
) -> None:
    journal.write(
        by=by,
        act=act,
        subject=row,
        label=str(row.get_topic_display()),
        before=before,
        after=_facts(row),
        reason=row.reason,
        submission=submission,
    )
