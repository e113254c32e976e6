"""How bad it could be, and how far down a recall is carried: evaluated, and again.

After 21 CFR 7.41(a) and 7.42(b)(1) as a pattern: what has happened, who could be hurt,
how badly, how likely. The class and depth that follow are the maker's own judgement; no
authority's classification is asserted.
"""

from __future__ import annotations

import uuid

from django.db import transaction
from django.utils import timezone

from producer import journal, written
from producer.errors import Conflict
from producer.models import Right, User
from producer.services.checks import require
from quality.models import HazardEvaluation, Recall


@transaction.atomic
def evaluate(
    *,
    by: User,
    recall: Recall,
    hazard_class: str,
    depth: str,
    happened: str,
    exposed: str,
    harm: str,
    likelihood: str,
    public_notice: str = "",
    submission: uuid.UUID | None = None,
) -> HazardEvaluation:
    """Record an evaluation of the hazard; its class and depth hold from now on.

    An earlier one stays on record. ``public_notice`` takes the place of the words that
    a person with a bottle reads, if any is given. Not of a recall that is closed.
    """
    require(by, Right.REVIEWER)
    journal.in_line()
    recall = Recall.objects.get(pk=recall.pk)
    if recall.status == Recall.Status.CLOSED:
        raise Conflict("This recall is closed. What was evaluated stays as it was.")
    row = HazardEvaluation(
        recall=recall,
        hazard_class=hazard_class,
        depth=depth,
        happened=happened.strip(),
        exposed=exposed.strip(),
        harm=harm.strip(),
        likelihood=likelihood.strip(),
        observed_at=timezone.now(),
        entered_by=by,
    )
    row.full_clean()
    row.save(force_insert=True)
    then = {"hazard_class": hazard_class, "depth": depth}
    if public_notice.strip() and not recall.is_mock:
        then["public_notice"] = public_notice.strip()
    before = {name: getattr(recall, name) for name in then}
    Recall.objects.filter(pk=recall.pk).update(**then)
    recall.refresh_from_db()
    written.note(recall)
    journal.write(
        by=by,
        act=f"{'mock recall' if recall.is_mock else 'recall'} hazard evaluated",
        subject=recall,
        label=recall.code,
        before=before,
        after=then,
        submission=submission,
    )
    return row


def newest(recall: Recall) -> HazardEvaluation | None:
    """Return the evaluation that holds, None where there is none yet."""
    rows = recall.evaluations.select_related("entered_by__person")
    return rows.order_by("-pk").first()
