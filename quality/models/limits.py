"""Limits: what a result is held against, as versions."""

from __future__ import annotations

from django.db import models

from batches.models import FormulaVersion
from producer.models import Material, Record
from quality.statistics.conformity import RULE, RULES, Verdict

VERDICT_CHOICES = [(verdict.value, verdict.label) for verdict in Verdict]


class Characteristic(models.TextChoices):
    """What is judged."""

    PH = "ph", "pH"
    CLARITY = "clarity", "clarity"
    YIELD_VARIANCE = "yield_variance", "yield variance (%)"
    FREE_ALKALI = "free_alkali", "free alkali (% KOH)"
    SOAP_CONTENT = "soap_content", "soap content (%)"
    NET_CONTENT = "net_content", "mean content (% of the nominal one)"
    ASSAY = "assay", "assay (%)"
    SAPONIFICATION_VALUE = "saponification_value", "saponification value (mg KOH/g)"


OF_MATERIALS = frozenset({Characteristic.ASSAY, Characteristic.SAPONIFICATION_VALUE})
OF_FORMULAS = frozenset(Characteristic) - OF_MATERIALS
# Too much alkali burns and unreacted oil clogs: these two never only warn.
ALWAYS_HOLD = frozenset({Characteristic.PH, Characteristic.CLARITY})


class Limit(Record):
    """A version of the limit for one characteristic of a formula version or material.

    A pH limit means nothing without its method, so the method is part of it. ``rule``
    names the decision rule, and ``effect`` says what a value outside does. Who enters a
    limit approves it: ``entered_by`` and ``entered_at``.
    """

    class Effect(models.TextChoices):
        """What a value outside the limit does."""

        HOLD = "hold", "stops the release"
        WARN = "warn", "warns; a release then needs a reason"

    formula_version = models.ForeignKey(
        FormulaVersion,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="limits",
    )
    material = models.ForeignKey(
        Material,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="limits",
    )
    characteristic = models.CharField(max_length=24, choices=Characteristic.choices)
    version = models.PositiveSmallIntegerField()
    lower = models.DecimalField(max_digits=8, decimal_places=3, null=True, blank=True)
    upper = models.DecimalField(max_digits=8, decimal_places=3, null=True, blank=True)
    method = models.CharField(max_length=120, blank=True)
    rule = models.CharField(
        "decision rule",
        max_length=20,
        choices=[(slug, rule.name) for slug, rule in RULES.items()],
        default=RULE.slug,
    )
    effect = models.CharField(
        "a value outside", max_length=10, choices=Effect.choices, default=Effect.HOLD
    )
    reason = models.TextField("why this limit")

    class Meta:
        ordering = ("formula_version", "material", "characteristic", "-version")
        constraints = [
            models.CheckConstraint(
                condition=models.Q(
                    formula_version__isnull=False,
                    material__isnull=True,
                    characteristic__in=sorted(OF_FORMULAS),
                )
                | models.Q(
                    formula_version__isnull=True,
                    material__isnull=False,
                    characteristic__in=sorted(OF_MATERIALS),
                ),
                name="limit_of_formula_or_material",
                violation_error_message=(
                    "A limit belongs to a formula version or to a material, and this"
                    " characteristic is not one of its."
                ),
            ),
            models.UniqueConstraint(
                fields=["material", "characteristic", "version"],
                name="limit_version_of_material_once",
            ),
            models.CheckConstraint(
                condition=models.Q(effect="hold")
                | ~models.Q(characteristic__in=sorted(ALWAYS_HOLD)),
                name="ph_and_clarity_always_hold",
                violation_error_message=(
                    "A limit of pH or clarity always stops the release: too much"
                    " alkali burns, and unreacted oil is not soap."
                ),
            ),
            models.UniqueConstraint(
                fields=["formula_version", "characteristic", "version"],
                name="limit_version_once",
            ),
            models.CheckConstraint(
                condition=models.Q(characteristic="clarity")
                | models.Q(lower__isnull=False)
                | models.Q(upper__isnull=False),
                name="limit_has_a_side",
                violation_error_message="Give a lower limit, an upper limit or both.",
            ),
            models.CheckConstraint(
                condition=models.Q(lower__isnull=True)
                | models.Q(upper__isnull=True)
                | models.Q(lower__lt=models.F("upper")),
                name="limit_lower_below_upper",
                violation_error_message="The lower limit must be below the upper one.",
            ),
            models.CheckConstraint(
                condition=~models.Q(characteristic="ph") | ~models.Q(method=""),
                name="ph_limit_has_method",
                violation_error_message=(
                    "A pH limit needs its method: strength and temperature of the"
                    " solution."
                ),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.characteristic} limit version {self.version}"
