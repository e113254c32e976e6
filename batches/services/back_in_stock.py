"""What stands between a bottle and the stock it could leave from once more."""

from __future__ import annotations

from collections.abc import Sequence

from django.utils import timezone

from batches.lifecycle import BatchStatus
from batches.models import Batch, Bottle, BottleDiscrepancy
from producer.codes import grouped
from producer.errors import Refusal
from producer.services.checks import local_day

AT_A_TIME = 500  # bottles in one query


def was_out(bottle: Bottle) -> bool:
    """Say whether a bottle that is here was out of our hands, and not looked at since.

    Also while it is on hold: who had it stays with it until it is back in stock.
    """
    return bottle.consignee_id is not None


def check(bottles: Sequence[Bottle], *, inspection: str) -> None:
    """Refuse what may not go back to stock; ``inspection`` is what was found.

    A bottle that was out of our hands is looked at first, whoever brings it. Past its
    use-by date, of a batch that is not released, or in doubt it stays out. The release
    of the filling lot is asked for at the door alone: a bottle that was held before it
    has to be freed to get its label. The batches are read as they stand; callers hold
    the transaction.
    """
    lots = {bottle.filling_lot_id: bottle.filling_lot for bottle in bottles}
    came_back = [one for one in bottles if was_out(one)]
    if came_back and not inspection.strip():
        raise Refusal(
            f"Bottle {grouped(came_back[0].code)} was out of your hands. Look at it:"
            " the seal, the level, the colour, the label. Write what you found;"
            " without that it does not go back to stock.",
            field="inspection",
        )
    ids = {lot.batch_id for lot in lots.values()}
    locked = Batch.objects.select_for_update(of=("self",)).select_related("stock")
    for batch in locked.filter(pk__in=ids).order_by("pk"):
        if batch.status != BatchStatus.RELEASED:
            raise Refusal(
                f"Batch {batch.number} is {BatchStatus(batch.status).label}, so no"
                " bottle of it can go back to stock."
            )
    today = local_day(timezone.now())
    for lot in lots.values():
        if lot.use_by < today:
            raise Refusal(
                f"The use-by date of {lot.code} is past. Destroy these bottles.",
                field="codes",
            )
    _not_in_doubt([bottle.pk for bottle in bottles])


def _not_in_doubt(ids: Sequence[int]) -> None:
    for start in range(0, len(ids), AT_A_TIME):
        doubt = (
            BottleDiscrepancy.objects.filter(
                end__isnull=True, bottle__in=ids[start : start + AT_A_TIME]
            )
            .select_related("bottle")
            .first()
        )
        if doubt is not None:
            raise Refusal(
                f"Bottle {grouped(doubt.bottle.code)} is in doubt:"
                f" {doubt.get_kind_display()}. A reviewer settles that first.",
                field="codes",
            )


def in_words(reason: str, inspection: str) -> str:
    """Return why, with what an inspection found, as the event of a bottle keeps it.

    >>> in_words("never opened", "seal whole")
    'never opened. Inspection: seal whole'
    """
    found = inspection.strip()
    if not found:
        return reason
    stop = "" if reason.endswith((".", "!", "?")) else "."
    return f"{reason}{stop} Inspection: {found}"
