"""Leaves that were sprayed and not looked at, and rules to be looked up again."""

from __future__ import annotations

import datetime

from batches.models import PatchTest
from batches.services.spraying import to_look_at
from producer.models import RulesCheck
from producer.services.rules import due_checks
from quality.services.today.plain import MAKER, Kind, Row, ago, of_list, page, until


def leaves(now: datetime.datetime) -> Kind:
    """Return the leaves that were sprayed a day ago or more and not looked at yet."""

    def row(one: PatchTest) -> Row:
        return Row(
            name=one.code,
            at=page("quality:sprays"),
            words=f"a leaf of {one.plant}, {one.target_g_per_l.normalize():f} g/l",
            when=f"sprayed {ago(one.sprayed_at, now)}",
            status="retest_due",
            label="look now",
            do="Look at it",
            do_at=page("quality:patch_test_look", one.code),
            rights=MAKER,
        )

    return of_list(
        "leaf",
        "Leaves to look at",
        to_look_at(now),
        row,
        all_at=page("quality:sprays"),
    )


def rules(today: datetime.date) -> Kind:
    """Return the rules whose day to look again is here or past."""

    def row(one: RulesCheck) -> Row:
        assert one.again_on is not None  # noqa: S101 - due_checks returns no other
        return Row(
            name=str(one.get_topic_display()),
            at=page("producer:rules"),
            words=f"{one.country}: {one.page}",
            when=until(one.again_on, today, "due"),
            status="retest_due",
            label="due",
            do="Look again",
            do_at=page("producer:rules_new", query={"about": one.topic}),
            rights=MAKER,
        )

    return of_list(
        "rules",
        "Rules to look up again",
        due_checks(today),
        row,
        all_at=page("producer:rules"),
    )
