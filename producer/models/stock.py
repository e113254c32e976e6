"""The stock ledger: what is on hand is the sum of what came and went."""

from __future__ import annotations

from django.db import models

from producer.models.records import Record


class NumberSeries(models.Model):
    """The last number given out in a series, such as raw lots of 2026."""

    name = models.CharField(max_length=20, primary_key=True)
    last = models.PositiveIntegerField()

    class Meta:
        verbose_name_plural = "number series"

    def __str__(self) -> str:
        return self.name


class Stock(models.Model):
    """A quantity that can be drawn from: a raw lot, or what a batch has made.

    Also the node of the genealogy: a raw lot and a batch each have exactly one, and
    share its primary key, so the trace walks one kind of number. ``on_hand_mg`` is
    the sum of the movements, kept beside them so that a conditional update can
    refuse to draw more than there is, also with two people at once.
    """

    class Kind(models.TextChoices):
        """What the quantity is of."""

        LOT = "lot", "raw lot"
        BATCH = "batch", "batch"

    kind = models.CharField(max_length=10, choices=Kind.choices)
    code = models.CharField(max_length=30, unique=True)
    on_hand_mg = models.BigIntegerField("on hand (mg)", default=0)

    class Meta:
        verbose_name_plural = "stock"
        constraints = [
            models.CheckConstraint(
                condition=models.Q(on_hand_mg__gte=0), name="stock_never_below_zero"
            ),
            models.CheckConstraint(
                condition=models.Q(kind__in=["lot", "batch"]), name="stock_kind_known"
            ),
        ]

    def __str__(self) -> str:
        return self.code


class StockMovement(Record):
    """One line of the ledger."""

    class Kind(models.TextChoices):
        """Why the quantity moved."""

        RECEIPT = "receipt", "received"
        PRODUCTION = "production", "made"
        DRAW = "draw", "drawn into a batch"
        DRAW_BACK = "draw_back", "draw taken back by a correction"
        FILLING = "filling", "filled into bottles"
        OWN_USE = "own_use", "used on the premises"
        ADJUSTMENT = "adjustment", "adjusted"
        DISPOSAL = "disposal", "disposed of"

    stock = models.ForeignKey(Stock, on_delete=models.PROTECT, related_name="movements")
    kind = models.CharField(max_length=20, choices=Kind.choices)
    amount_mg = models.BigIntegerField("amount (mg)")
    balance_mg = models.BigIntegerField("balance after (mg)")
    container = models.ForeignKey(
        "producer.Container",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="movements",
    )
    purpose = models.CharField(
        max_length=120, blank=True, help_text="Batch or filling lot it moved for."
    )
    reason = models.TextField(blank=True)

    class Meta:
        ordering = ("pk",)
        constraints = [
            models.CheckConstraint(
                condition=models.Q(kind__in=["receipt", "production", "draw_back"])
                & models.Q(amount_mg__gt=0)
                | models.Q(kind__in=["draw", "filling", "own_use", "disposal"])
                & models.Q(amount_mg__lt=0)
                | models.Q(kind="adjustment") & ~models.Q(amount_mg=0),
                name="movement_has_the_sign_of_its_kind",
            ),
            models.CheckConstraint(
                condition=models.Q(balance_mg__gte=0),
                name="movement_balance_never_below_zero",
            ),
            models.CheckConstraint(
                condition=~models.Q(kind__in=["adjustment", "disposal"])
                | ~models.Q(reason=""),
                name="adjustment_and_disposal_have_a_reason",
                violation_error_message="Say why; the reason stays in the ledger.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.amount_mg} mg"
