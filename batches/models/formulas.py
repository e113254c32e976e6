"""Formulas and their versions: how a product is made."""

from __future__ import annotations

from django.db import models

from producer.models import Material, Record


class Formula(models.Model):
    """A product as we make it; what it consists of stands in its versions."""

    class Kind(models.TextChoices):
        """What a batch of it does."""

        COOK = "cook", "cook (oils and potash to paste)"
        DILUTION = "dilution", "dilution (paste and water to liquid)"
        BLEND = "blend", "blend (batches of one kind together)"

    class Purpose(models.TextChoices):
        """What the product is for; one bottle has one purpose."""

        PASTE = "paste", "paste, for further use on the premises"
        WASH = "wash", "laundry and cleaning"
        SPRAY = "spray", "spray against soft-bodied garden pests"

    name = models.CharField(max_length=120, unique=True)
    kind = models.CharField(max_length=20, choices=Kind.choices)
    purpose = models.CharField(max_length=20, choices=Purpose.choices)

    class Meta:
        ordering = ("name",)
        constraints = [
            models.CheckConstraint(
                condition=models.Q(kind__in=["cook", "dilution", "blend"]),
                name="formula_kind_known",
            ),
            models.CheckConstraint(
                condition=models.Q(purpose__in=["paste", "wash", "spray"]),
                name="formula_purpose_known",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class FormulaVersion(Record):
    """One fixed wording of a formula. Batches keep the version they began with."""

    formula = models.ForeignKey(
        Formula, on_delete=models.PROTECT, related_name="versions"
    )
    version = models.PositiveSmallIntegerField()
    product_name = models.CharField("name on the label", max_length=80)
    directions = models.TextField("directions for use", blank=True)
    cautions = models.TextField(
        "further cautions", blank=True, help_text="Printed below the usual ones."
    )
    shelf_life_days = models.PositiveSmallIntegerField("life from making (days)")
    ph_method = models.CharField(
        "how the pH is taken",
        max_length=120,
        default="1 % solution in distilled water at 25 °C",
        help_text="Strength and temperature of the solution; a pH means nothing else.",
    )
    temperature_limit = models.DecimalField(
        "hottest allowed (°C)", max_digits=5, decimal_places=1, default=70
    )
    soap_content_target = models.DecimalField(
        "soap content to dilute to (%)",
        max_digits=4,
        decimal_places=1,
        null=True,
        blank=True,
        help_text=(
            "Only for a dilution. The water is then computed from the soap content of"
            " the very paste, instead of the fixed amount below."
        ),
    )
    authority_reference = models.CharField(
        "authority's number for supply as plant protection product",
        max_length=120,
        blank=True,
        help_text=(
            "Leave empty unless your authority has given you one: without it a spray"
            " is for own use only. Rules differ by place and change."
        ),
    )
    authority_checked_on = models.DateField("rules last checked", null=True, blank=True)
    reason = models.TextField("why this version", blank=True)

    class Meta:
        ordering = ("formula__name", "-version")
        constraints = [
            models.UniqueConstraint(
                fields=["formula", "version"], name="formula_version_once"
            ),
            models.CheckConstraint(
                condition=models.Q(shelf_life_days__gt=0),
                name="formula_shelf_life_positive",
            ),
            models.CheckConstraint(
                condition=models.Q(soap_content_target__isnull=True)
                | models.Q(soap_content_target__gt=0, soap_content_target__lt=60),
                name="formula_soap_target_plausible",
                violation_error_message="A soap content lies between 0 and 60 %%.",
            ),
            models.CheckConstraint(
                condition=models.Q(authority_reference="")
                | models.Q(authority_checked_on__isnull=False),
                name="authority_reference_has_date",
                violation_error_message="Write the day you last checked the rules.",
            ),
        ]

    def __str__(self) -> str:
        return f"version {self.version}"


class FormulaLine(models.Model):
    """One ingredient of a version: a material, or what another formula makes.

    ``per_kg_mg`` is milligrams per kilogram of the basis: of all oils together for a
    cook, of the paste drawn for a dilution. It is empty for potash alone, whose
    amount is computed from the very lots chosen.
    """

    append_only = True

    version = models.ForeignKey(
        FormulaVersion, on_delete=models.PROTECT, related_name="lines"
    )
    position = models.PositiveSmallIntegerField()
    material = models.ForeignKey(
        Material,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="formula_lines",
    )
    source_formula = models.ForeignKey(
        Formula,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="used_in_lines",
    )
    per_kg_mg = models.BigIntegerField(
        "milligrams per kilogram of the basis", null=True, blank=True
    )

    class Meta:
        ordering = ("version_id", "position")
        constraints = [
            models.UniqueConstraint(
                fields=["version", "position"], name="formula_line_position_once"
            ),
            models.CheckConstraint(
                condition=models.Q(material__isnull=True)
                ^ models.Q(source_formula__isnull=True),
                name="formula_line_has_one_ingredient",
            ),
            models.CheckConstraint(
                condition=models.Q(per_kg_mg__isnull=True) | models.Q(per_kg_mg__gt=0),
                name="formula_line_share_positive",
            ),
        ]

    def __str__(self) -> str:
        return f"line {self.position}"
