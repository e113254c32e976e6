"""A weighing of filled bottles that was entered wrongly is taken back.

It stays on record with its masses and its verdict, and counts for nothing any more:
not for a release, not at the door, and it holds no bottle.
"""

from __future__ import annotations

import datetime
import uuid
from typing import Final

from django.db import transaction
from django.utils import timezone

from batches.services import moves
from producer import journal
from producer.errors import Conflict
from producer.models import Right, User
from producer.services.checks import need_reason, require
from quality.models import FillCheck, FillCheckTakenBack
from quality.services import filling_checks, weighings

# A slip is seen within days; after that somebody may rely on it. Common practice, no
# source.
BY_ITS_MAKER_FOR: Final = datetime.timedelta(days=2)


@transaction.atomic
def take_back(
    *,
    by: User,
    check: FillCheck,
    reason: str,
    submission: uuid.UUID | None = None,
) -> FillCheckTakenBack:
    """Record that a weighing was no weighing of this filling lot, or a slip throughout.

    What it held stays on hold until a reviewer frees it; where the weighing before it
    stops the bottles, they are held again. Bottles that were opened for it stay
    destroyed. A maker or a reviewer may do it, and a reviewer alone where
    :func:`needs_reviewer` says so.
    """
    is_grave = needs_reviewer(check)
    require(by, Right.MAKER if by.may(Right.MAKER) and not is_grave else Right.REVIEWER)
    journal.in_line()
    reason = need_reason(reason)
    batch = moves.locked(check.filling_lot.batch)
    if FillCheckTakenBack.objects.filter(fill_check=check).exists():
        raise Conflict("This weighing was taken back a moment ago. Look again.")
    row = FillCheckTakenBack.objects.create(
        fill_check=check, reason=reason, observed_at=timezone.now(), entered_by=by
    )
    held = filling_checks.hold_again(by=by, batch=batch)
    journal.write(
        by=by,
        act="net content check taken back",
        subject=check,
        label=check.filling_lot.code,
        before={
            "scale": check.scale.name,
            "tare_mg": check.tare_mg,
            "net_mg": check.net_mg,
            "accepted": check.accepted,
            "sentence": check.sentence,
        },
        after={"bottles_held": held},
        reason=reason,
        submission=submission,
    )
    return row


def needs_reviewer(check: FillCheck) -> bool:
    """Say whether a reviewer alone may take a weighing back.

    One that failed, for without it the bottles may leave; one that a release may rest
    on; and one that stands longer than :data:`BY_ITS_MAKER_FOR`.
    """
    return (
        weighings.failed(check)
        or hasattr(check.filling_lot, "release")
        or timezone.now() - check.entered_at > BY_ITS_MAKER_FOR
    )


def may_take_back(user: User, check: FillCheck) -> bool:
    """Say whether this account may take this weighing back, as far as rights go."""
    return user.may(Right.REVIEWER) or (
        user.may(Right.MAKER) and not needs_reviewer(check)
    )
