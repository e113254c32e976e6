"""Contact data erased on request, or when their time is over; what left stays counted.

Nobody is deleted: the row stays, without name, address, telephone and e-mail, and so do
its dispatches, lots and numbers of bottles. The journal has the data sealed only, and
the seal goes with them. What somebody typed into a note is not found by this, and older
backups still hold what they held; the page says so.
"""

from __future__ import annotations

import datetime
import uuid

from django.db import connection, transaction
from django.db.models import QuerySet
from django.utils import timezone

from batches.lifecycle import BottleStatus
from batches.models import Bottle
from producer import journal
from producer.errors import Conflict, Refusal
from producer.models import Consignee, Right, User
from producer.models.contacts import new_seal
from producer.services.checks import need_reason, require
from quality.models import Recall
from quality.services import complaints, recall_clearing
from quality.services.recalling import recalls_of_bottle


@transaction.atomic
def erase(
    *,
    by: User,
    consignee: Consignee,
    reason: str,
    submission: uuid.UUID | None = None,
) -> Consignee:
    """Erase the contact data of a consignee; lots and quantities stay.

    Refused while a recall is open that reaches their bottles, for it could not be
    carried out any more; while a complaint of theirs is open, for it could not be
    answered; until they are told that a recall was cleared; and for a reseller who
    still holds bottles: who passes goods on must be reachable.
    """
    require(by, Right.MAKER)
    journal.in_line()
    reason = need_reason(reason)
    found = Consignee.objects.select_for_update().get(pk=consignee.pk)
    _may_be_erased(found)
    gone = sum(1 for name in Consignee.personal if getattr(found, name))
    found.name = f"erased contact {found.pk}"
    found.address = found.phone = found.email = ""
    found.keep_until = None
    found.erased_at = timezone.now()
    found.seal = new_seal()
    found.full_clean()
    found.save()
    journal.write(
        by=by,
        act="contact data erased",
        subject=found,
        label=found.reference,
        after={"fields_erased": gone, "bottles_held": held(found).count()},
        reason=reason,
        submission=submission,
    )
    transaction.on_commit(_leave_no_copy)
    return found


def held(consignee: Consignee) -> QuerySet[Bottle]:
    """Return the bottles that a consignee holds as far as the records go."""
    return Bottle.objects.filter(consignee=consignee, status=BottleStatus.DISPATCHED)


def due(today: datetime.date) -> QuerySet[Consignee]:
    """Return the consignees whose contact data were to be kept until before today."""
    rows = Consignee.objects.filter(erased_at__isnull=True, keep_until__lt=today)
    return rows.order_by("keep_until", "pk")


def why_not(consignee: Consignee) -> str:
    """Return why these contact data cannot be erased now, or nothing."""
    if consignee.kind == Consignee.Kind.OWN_USE:
        return "This is the premises itself; there is nobody to forget."
    bottles = held(consignee)
    if consignee.kind == Consignee.Kind.RESELLER and bottles.exists():
        return (
            f"This reseller still holds {_bottles(bottles.count())} and must be"
            " reachable in a recall. Record what came back or was destroyed first."
        )
    return (
        _open_recall(consignee) or _open_complaint(consignee) or _not_cleared(consignee)
    )


def _bottles(count: int) -> str:
    return f"{count} bottle{'' if count == 1 else 's'}"


def _open_complaint(consignee: Consignee) -> str:
    """Return that a complaint of theirs is open, or nothing."""
    theirs = complaints.still_open().filter(consignee=consignee).first()
    if theirs is None:
        return ""
    return (
        f"Complaint {theirs.complaint.code} is theirs and is open. Answer and close it,"
        " then erase the data."
    )


def _not_cleared(consignee: Consignee) -> str:
    """Return that they were alarmed, and not told that it is over; or nothing."""
    tried = Recall.objects.filter(contacts__consignee=consignee, is_mock=False)
    for recall in tried.order_by("pk").distinct():
        due = recall_clearing.untold(recall_clearing.all_clear_list(recall))
        if any(one.consignee == consignee for one in due):
            return (
                f"They were told of recall {recall.code}, and not yet that their"
                " bottles are not affected after all. Give the all-clear, then erase"
                " the data."
            )
    return ""


def _open_recall(consignee: Consignee) -> str:
    one_a_lot: dict[int, Bottle] = {}
    bottles = Bottle.objects.listed().filter(pk__in=held(consignee).values("pk"))
    for bottle in bottles.order_by("pk"):
        one_a_lot.setdefault(bottle.filling_lot_id, bottle)
    for bottle in one_a_lot.values():
        for recall in recalls_of_bottle(bottle):
            if recall.closed_at is None:
                return (
                    f"Recall {recall.code} is open and reaches their bottles. Erase the"
                    " data when it is closed."
                )
    return ""


def _may_be_erased(consignee: Consignee) -> None:
    if consignee.erased_at is not None:
        raise Conflict("These contact data were erased already.")
    refused = why_not(consignee)
    if refused:
        raise Refusal(refused)


def _leave_no_copy() -> None:
    """Empty SQLite's log of what was written, in which older pages still stand.

    As far as nobody reads at this moment; what stays goes with the next emptying.
    """
    if connection.vendor == "sqlite":
        with connection.cursor() as cursor:
            cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)")
