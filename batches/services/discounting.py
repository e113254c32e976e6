"""The lye discount of a batch: potash left out on purpose, 0 unless one is set."""

from __future__ import annotations

import uuid
from decimal import Decimal

from django.db import transaction

from batches.models import Batch, Charge, Formula
from batches.services import moves
from producer import journal
from producer.errors import Refusal
from producer.models import JournalEntry, Material, Right, User
from producer.services.checks import need_reason, require

ACT = "lye discount set"


@transaction.atomic
def set_lye_discount(
    *,
    by: User,
    batch: Batch,
    discount: Decimal,
    reason: str,
    submission: uuid.UUID | None = None,
) -> Batch:
    """Set which share of the alkali need is left out of the potash to weigh.

    ``discount`` is a share from 0 to 0.1. Only while no potash is in the pot: what was
    weighed is not undone by a figure. Raises :class:`Refusal` after that, for a batch
    that takes no potash, and for the discount that stands already.
    """
    require(by, Right.MAKER)
    reason = need_reason(reason)
    batch = moves.still_open(batch)
    if batch.kind != Formula.Kind.COOK:
        raise Refusal("Only a cook takes potash, so only a cook has a lye discount.")
    potash = Charge.objects.current().filter(
        batch=batch, source__lot__material__kind=Material.Kind.POTASH
    )
    if potash.exists():
        raise Refusal(
            "Potash is in the pot already, so nothing of it can be left out any more."
            " What helps now is a correction: more oil, or citric acid."
        )
    old = batch.lye_discount
    if discount == old:
        raise Refusal("This is the discount it has already.", field="discount")
    batch.lye_discount = discount
    batch.full_clean()
    batch.save(update_fields=["lye_discount"])
    journal.write(
        by=by,
        act=ACT,
        subject=batch,
        label=batch.number,
        before={"lye_discount": f"{old.normalize():f}"},
        after={"lye_discount": f"{discount.normalize():f}"},
        reason=reason,
        submission=submission,
    )
    return batch


def set_by(batch: Batch) -> set[int]:
    """Return the ids of the accounts that set a discount of the batch.

    From the journal: the batch keeps the figure alone, not who set it.
    """
    entries = JournalEntry.objects.filter(
        subject_kind=batch._meta.model_name, subject_id=str(batch.pk), act=ACT
    )
    return {entry.actor_id for entry in entries if entry.actor_id is not None}
