"""What was paid for a raw lot, when the bill comes later or was read wrongly."""

from __future__ import annotations

import uuid

from django.db import transaction

from producer import journal
from producer.errors import Refusal
from producer.models import RawLot, Right, User
from producer.services.checks import need_reason, require


@transaction.atomic
def set_price(
    *,
    by: User,
    lot: RawLot,
    paid_hundredths: int | None,
    reason: str = "",
    submission: uuid.UUID | None = None,
) -> RawLot:
    """Set what was paid for all of a lot; another price than before needs a reason.

    A price is no part of a signed record: costs of batches made from the lot follow.
    None says that it is not known after all.
    """
    require(by, Right.MAKER)
    stored = RawLot.objects.select_for_update(of=("self",)).listed().get(pk=lot.pk)
    former = stored.paid_hundredths
    if paid_hundredths == former:
        raise Refusal("This is what stands there already.", field="paid_hundredths")
    if former is not None:
        reason = need_reason(reason)
    stored.paid_hundredths = paid_hundredths
    stored.full_clean()
    stored.save(update_fields=["paid_hundredths"])
    journal.write(
        by=by,
        act="price of a raw lot set",
        subject=stored,
        label=stored.code,
        before={"paid_hundredths": former},
        after={"paid_hundredths": paid_hundredths},
        reason=reason.strip(),
        submission=submission,
    )
    return stored
