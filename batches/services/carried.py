"""The labels that bottles carry: what may not stand there now, and none at all.

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
    LabelIssue,
    LabelVersion,
)
from batches.services.label_bands import Bands, bands_of
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


def wrong_class(bottles: Sequence[Bottle]) -> dict[int, str]:
    """Return by bottle what to do about a class of contents that is none of it now.

    The class printed is held against the one reckoned from the records as they stand.
    Another one stands while it was chosen for a reason and what it was chosen beside
    is still what is reckoned: the reason was for that. A class that nothing can be
    reckoned for any more does not stand without one. The outcome of each batch is
    asked once.
    """
    lots = {bottle.pk: bottle.filling_lot for bottle in bottles}
    newest = _newest_copies(list(lots))
    issues = LabelIssue.objects.in_bulk({copy.issue_id for copy in newest})
    now: dict[int, Bands] = {}
    found = {}
    for copy in newest:
        lot, issue = lots[copy.bottle_id], issues[copy.issue_id]
        if lot.batch_id not in now:
            now[lot.batch_id] = bands_of(lot)
        bands = now[lot.batch_id]
        if not _may_stand(issue, bands):
            found[copy.bottle_id] = _of_class(issue.band, bands, copy.copy + 1)
    return found


def _newest_copies(ids: Sequence[int]) -> list[LabelCopy]:
    later = LabelCopy.objects.filter(
        bottle=OuterRef("bottle"), copy__gt=OuterRef("copy")
    )
    found: list[LabelCopy] = []
    for start in range(0, len(ids), AT_A_TIME):
        piece = ids[start : start + AT_A_TIME]
        found += LabelCopy.objects.filter(~Exists(later), bottle__in=piece)
    return found


def _may_stand(issue: LabelIssue, now: Bands) -> bool:
    if issue.band == now.reckoned:
        return True
    chosen = bool(issue.sheet["band_reason"])
    return chosen and issue.sheet["band_reckoned"] == now.reckoned


def _of_class(printed: str, now: Bands, copy: int) -> str:
    known = (
        f"by what is recorded now it is “{now.reckoned}”."
        if now.reckoned
        else f"none can be reckoned now: {now.why_not}"
    )
    return (
        f"carries the class of contents “{printed}” on its label, and {known} Print a"
        f" new label for it, copy {copy}, and say why; put it over the old one, and"
        " count that as spoiled."
    )


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
