"""The labels that bottles carry: texts that may not stand there now, and none at all.

What a bottle carries is the newest copy printed for it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Sequence

from django.db.models import Exists, OuterRef

from batches.lifecycle import BottleStatus
from batches.models import (
    Bottle,
    FillingBalance,
    FillingLot,
    LabelCopy,
    LabelVersion,
)
from batches.services.label_state import classes_now, may_print

TO_LEAVE = (BottleStatus.FILLED, BottleStatus.ON_HOLD)
AT_A_TIME = 500  # bottles in one query; SQLite counts its variables


def outdated(lots: Collection[FillingLot]) -> dict[int, list[str]]:
    """Return by filling lot the texts on bottles to leave that may not be printed now.

    Withdrawn, or with another hazard block than the class recorded last. As many
    queries as there are products, and three.
    """
    later = LabelCopy.objects.filter(
        bottle=OuterRef("bottle"), copy__gt=OuterRef("copy")
    )
    carried = LabelCopy.objects.filter(
        ~Exists(later),
        bottle__filling_lot__in=[lot.pk for lot in lots],
        bottle__status__in=TO_LEAVE,
    )
    pairs = set(
        carried.order_by().values_list("bottle__filling_lot_id", "issue__label_id")
    )
    labels = (
        LabelVersion.objects.filter(pk__in={label for _, label in pairs})
        .select_related("formula", "classification")
        .prefetch_related("decisions")
        .order_by("pk")
    )
    classes = {one.formula_id: one.formula for one in labels}
    now = {pk: classes_now(formula) for pk, formula in classes.items()}
    found: dict[int, list[str]] = defaultdict(list)
    for label in labels:
        if may_print(label, now[label.formula_id]):
            continue
        said = (
            f"“{label.product_name}” ({label.get_language_display()}, version"
            f" {label.version})"
        )
        for lot_id, label_id in pairs:
            if label_id == label.pk:
                found[lot_id].append(said)
    return dict(found)


def without_label(bottles: Sequence[Bottle]) -> set[int]:
    """Return the ids of the bottles for which no label was ever issued.

    Of lots from before labels were counted there are none.
    """
    lots = {bottle.filling_lot_id for bottle in bottles}
    counted = set(
        FillingBalance.objects.filter(filling_lot__in=lots).values_list(
            "filling_lot_id", flat=True
        )
    )
    ids = [bottle.pk for bottle in bottles if bottle.filling_lot_id in counted]
    bare = set(ids)
    for start in range(0, len(ids), AT_A_TIME):
        piece = ids[start : start + AT_A_TIME]
        copies = LabelCopy.objects.filter(bottle__in=piece)
        bare -= set(copies.values_list("bottle_id", flat=True))
    return bare
