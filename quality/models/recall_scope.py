"""What a recall reaches, why, what a later look changed of it, and how bad it is."""

from __future__ import annotations

from typing import Any, Self

from django.db import models
from django.db.models.functions import Coalesce

from batches.models import FillingLot
from producer.models import Consignee, Record, Stock
from quality.models.recalls import Recall, RecallContact


class StandingQuerySet(models.QuerySet[Any]):
    """Reads over what a later look at a recall may have cleared."""

    def standing(self) -> Self:
        """Return what is affected by the newest look at it."""
        changes = models.Subquery(
            RecallChange.objects.filter(
                **{self.model.in_a_change: models.OuterRef("pk")}
            )
            .order_by("-pk")
            .values("is_affected")[:1]
        )
        affected = Coalesce(changes, models.Value(True))  # noqa: FBT003 - SQL
        return self.alias(affected=affected).filter(affected=True)


class HazardEvaluation(Record):
    """What a maker thinks could happen, after 21 CFR 7.41(a) as a pattern.

    A later one takes the place of an earlier, which stays on record.
    """

    recall = models.ForeignKey(
        Recall, on_delete=models.PROTECT, related_name="evaluations"
    )
    hazard_class = models.CharField(max_length=1, choices=Recall.HazardClass.choices)
    depth = models.CharField(max_length=20, choices=Recall.Depth.choices)
    happened = models.TextField("what has happened already")
    exposed = models.TextField("who could be hurt")
    harm = models.TextField("how, and how badly")
    likelihood = models.TextField("how likely, and by when")

    class Meta:
        ordering = ("pk",)
        constraints = [
            models.CheckConstraint(
                condition=models.Q(hazard_class__in=["1", "2", "3"])
                & models.Q(depth__in=["consumer", "retail", "wholesale"]),
                name="hazard_evaluation_choices_known",
            ),
            models.CheckConstraint(
                condition=~models.Q(happened="")
                & ~models.Q(exposed="")
                & ~models.Q(harm="")
                & ~models.Q(likelihood=""),
                name="hazard_evaluation_says_all",
            ),
        ]

    def __str__(self) -> str:
        return f"evaluation {self.pk}"


class RecallRevision(Record):
    """A recall looked at again after the book was corrected: what is so now.

    ``facts`` is what was added and what was cleared, by codes.
    """

    recall = models.ForeignKey(
        Recall, on_delete=models.PROTECT, related_name="revisions"
    )
    note = models.TextField("what was corrected")
    facts = models.JSONField("what changed")

    class Meta:
        ordering = ("pk",)
        constraints = [
            models.CheckConstraint(
                condition=~models.Q(note=""), name="recall_revision_has_a_note"
            ),
        ]

    def __str__(self) -> str:
        return f"revision {self.pk}"


class RecallRoot(models.Model):
    """A batch, raw lot or filling lot that a recall was traced to, and why.

    What was made from it is affected too if ``is_walked``; otherwise it is only held:
    a lot of which one container is bad, say.
    """

    append_only = True
    in_a_change = "root"  # the column of RecallChange that names it

    recall = models.ForeignKey(Recall, on_delete=models.PROTECT, related_name="roots")
    stock = models.ForeignKey(
        Stock, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    filling_lot = models.ForeignKey(
        FillingLot, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    is_walked = models.BooleanField("what was made from it is affected", default=True)
    why = models.CharField(max_length=200)
    found_at = models.DateTimeField(auto_now_add=True)

    objects = StandingQuerySet.as_manager()

    class Meta:
        ordering = ("pk",)
        constraints = [
            models.CheckConstraint(
                condition=models.Q(stock__isnull=False, filling_lot__isnull=True)
                | models.Q(stock__isnull=True, filling_lot__isnull=False),
                name="recall_root_is_one_thing",
            ),
            models.UniqueConstraint(
                fields=["stock", "is_walked", "recall"], name="recall_root_stock_once"
            ),
            models.UniqueConstraint(
                fields=["filling_lot", "recall"], name="recall_root_filling_lot_once"
            ),
        ]

    def __str__(self) -> str:
        return f"root {self.pk}"


class RecallItem(models.Model):
    """A stock that was affected when the recall was opened or looked at again."""

    append_only = True
    in_a_change = "item"  # the column of RecallChange that names it

    recall = models.ForeignKey(Recall, on_delete=models.PROTECT, related_name="items")
    stock = models.ForeignKey(Stock, on_delete=models.PROTECT, related_name="+")
    found_at = models.DateTimeField(auto_now_add=True)

    objects = StandingQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["recall", "stock"], name="recall_item_once")
        ]

    def __str__(self) -> str:
        return f"item {self.pk}"


class RecallChange(models.Model):
    """What a later look at a recall found affected, or cleared; the newest counts."""

    append_only = True

    revision = models.ForeignKey(
        RecallRevision, on_delete=models.PROTECT, related_name="changes"
    )
    item = models.ForeignKey(
        RecallItem,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="changes",
    )
    root = models.ForeignKey(
        RecallRoot,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="changes",
    )
    is_affected = models.BooleanField()

    class Meta:
        ordering = ("pk",)
        constraints = [
            models.CheckConstraint(
                condition=models.Q(item__isnull=False, root__isnull=True)
                | models.Q(item__isnull=True, root__isnull=False),
                name="recall_change_is_of_one_thing",
            ),
            models.UniqueConstraint(
                fields=["item", "revision"], name="recall_change_of_item_once"
            ),
            models.UniqueConstraint(
                fields=["root", "revision"], name="recall_change_of_root_once"
            ),
        ]

    def __str__(self) -> str:
        return f"change {self.pk}"


class AllClear(Record):
    """Somebody who was told, and whose bottles are not affected after all, told so.

    As of :class:`RecallContact` only a reference is kept, or a word.
    """

    recall = models.ForeignKey(
        Recall, on_delete=models.PROTECT, related_name="all_clears"
    )
    consignee = models.ForeignKey(
        Consignee, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    who = models.CharField("who, if not in the register", max_length=120, blank=True)
    means = models.CharField("how", max_length=20)
    said = models.TextField("what was said", blank=True)

    class Meta:
        ordering = ("pk",)
        constraints = [
            models.CheckConstraint(
                condition=models.Q(consignee__isnull=False, who="")
                | models.Q(consignee__isnull=True) & ~models.Q(who=""),
                name="all_clear_is_to_somebody",
                violation_error_message=(
                    "Choose who it was, or write a word for somebody who is not in"
                    " the register; not both."
                ),
            ),
            models.CheckConstraint(
                condition=models.Q(
                    means__in=["telephone", "email", "letter", "in_person", "notice"]
                ),
                name="all_clear_means_known",
            ),
        ]

    def __str__(self) -> str:
        return f"all clear {self.pk}"

    @property
    def means_in_words(self) -> str:
        """How they were told."""
        return str(RecallContact.Means(self.means).label)
