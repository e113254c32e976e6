"""Labels: approved texts, sheets, and what became of every label printed."""

from __future__ import annotations

from django.db import models

from batches.models.bottles import Bottle, FillingLot
from batches.models.formulas import Formula
from producer.models import Correctable, Record
from producer.models.records import CorrectableQuerySet


class Language(models.TextChoices):
    """The languages for which the fixed words of a label are written down."""

    ENGLISH = "en", "English"
    GERMAN = "de", "Deutsch"


class Classification(Record):
    """What the maker decided about the hazard class of a product, and on what basis.

    The program never classifies; it prints what is recorded here, word for word.
    """

    class Signal(models.TextChoices):
        """The signal word, if there is one."""

        NONE = "none", "not classified as hazardous"
        WARNING = "warning", "Warning"
        DANGER = "danger", "Danger"

    formula = models.ForeignKey(
        Formula, on_delete=models.PROTECT, related_name="classifications"
    )
    signal = models.CharField(max_length=20, choices=Signal.choices)
    statements = models.TextField(
        "statements to print",
        blank=True,
        help_text="Hazard and precautionary statements, as your classification says.",
    )
    identifier = models.CharField(
        "formula identifier (UFI), if there is one", max_length=40, blank=True
    )
    basis = models.TextField(
        "basis", help_text="Who classified it, from which data, by which rules."
    )

    class Meta:
        ordering = ("-pk",)
        constraints = [
            models.CheckConstraint(
                condition=models.Q(signal__in=["none", "warning", "danger"])
                & ~models.Q(basis=""),
                name="classification_has_basis",
                violation_error_message="Write who classified it, and from what.",
            ),
            models.CheckConstraint(
                condition=models.Q(signal="none") | ~models.Q(statements=""),
                name="signal_word_has_statements",
                violation_error_message=(
                    "A signal word stands with its statements. Write them."
                ),
            ),
        ]

    def __str__(self) -> str:
        return f"classification {self.pk}"


class LabelVersion(Record):
    """The text of a label of one product in one language; never changed.

    ``doses`` prints the table of doses for soft, medium and hard water, reckoned for
    the soap content of the very batch.
    """

    formula = models.ForeignKey(
        Formula, on_delete=models.PROTECT, related_name="label_versions"
    )
    language = models.CharField(max_length=5, choices=Language.choices)
    version = models.PositiveSmallIntegerField()
    product_name = models.CharField("name on the label", max_length=80)
    directions = models.TextField("directions for use", blank=True)
    cautions = models.TextField(
        "further cautions", blank=True, help_text="Printed below the usual ones."
    )
    doses = models.BooleanField("with the table of doses for a wash", default=False)
    classification = models.ForeignKey(
        Classification,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="label_versions",
    )
    reason = models.TextField("why this version", blank=True)

    class Meta:
        ordering = ("formula__name", "language", "-version")
        constraints = [
            models.UniqueConstraint(
                fields=["formula", "language", "version"], name="label_version_once"
            ),
            models.CheckConstraint(
                condition=models.Q(language__in=["en", "de"]),
                name="label_language_known",
            ),
        ]

    def __str__(self) -> str:
        return f"label {self.language} {self.version}"


class LabelDecision(Record):
    """A label text approved for printing, or withdrawn from it."""

    class Kind(models.TextChoices):
        """What was decided."""

        APPROVED = "approved", "approved"
        WITHDRAWN = "withdrawn", "withdrawn"

    label = models.ForeignKey(
        LabelVersion, on_delete=models.PROTECT, related_name="decisions"
    )
    kind = models.CharField(max_length=20, choices=Kind.choices)
    reason = models.TextField(blank=True)

    class Meta:
        ordering = ("pk",)
        constraints = [
            models.CheckConstraint(
                condition=models.Q(kind="approved")
                | models.Q(kind="withdrawn") & ~models.Q(reason=""),
                name="label_decision_known",
                violation_error_message="Say why the text is withdrawn.",
            ),
        ]

    def __str__(self) -> str:
        return self.kind


class SheetFormat(models.Model):
    """Label stock of one's own: a page or a roll, and where the labels stand on it.

    Lengths are whole hundredths of a millimetre. A roll is a page of one label.
    """

    name = models.CharField(max_length=60, unique=True)
    page_width = models.PositiveIntegerField("page width (0.01 mm)")
    page_height = models.PositiveIntegerField("page height (0.01 mm)")
    across = models.PositiveSmallIntegerField("labels across")
    down = models.PositiveSmallIntegerField("labels down")
    width = models.PositiveIntegerField("label width (0.01 mm)")
    height = models.PositiveIntegerField("label height (0.01 mm)")
    left = models.PositiveIntegerField("left edge to the first label (0.01 mm)")
    top = models.PositiveIntegerField("top edge to the first label (0.01 mm)")
    pitch_across = models.PositiveIntegerField(
        "from the left edge of a label to that of the next (0.01 mm)"
    )
    pitch_down = models.PositiveIntegerField(
        "from the top edge of a label to that of the next (0.01 mm)"
    )
    in_use = models.BooleanField(default=True)

    class Meta:
        ordering = ("name",)
        constraints = [
            models.CheckConstraint(
                condition=models.Q(
                    page_width__gt=0,
                    page_height__gt=0,
                    across__gt=0,
                    down__gt=0,
                    width__gt=0,
                    height__gt=0,
                ),
                name="sheet_format_lengths_positive",
            )
        ]

    def __str__(self) -> str:
        return self.name


class LabelIssue(Record):
    """Labels printed in one go, with all that was printed on them.

    ``sheet`` is the format as it was, with offset and start position; ``contact`` is
    the maker's as it was; ``band`` is the class of contents printed. So the same file
    can be made again, and is the same issue, not another copy.
    """

    filling_lot = models.ForeignKey(
        FillingLot, on_delete=models.PROTECT, related_name="label_issues"
    )
    label = models.ForeignKey(
        LabelVersion, on_delete=models.PROTECT, related_name="issues"
    )
    sheet = models.JSONField()
    band = models.CharField("class of contents", max_length=60, blank=True)
    contact = models.TextField()
    specimens = models.PositiveSmallIntegerField(default=0)
    reason = models.TextField("why printed again", blank=True)

    class Meta:
        ordering = ("pk",)

    def __str__(self) -> str:
        return f"issue {self.pk}"


class LabelCopy(models.Model):
    """One label printed for a bottle: copy 1, or a later one of the same identity."""

    append_only = True

    issue = models.ForeignKey(
        LabelIssue, on_delete=models.PROTECT, related_name="copies"
    )
    bottle = models.ForeignKey(Bottle, on_delete=models.PROTECT, related_name="copies")
    copy = models.PositiveSmallIntegerField()

    class Meta:
        ordering = ("pk",)
        verbose_name_plural = "label copies"
        constraints = [
            models.UniqueConstraint(
                fields=["bottle", "copy"],
                name="label_copy_once",
                violation_error_message="This copy was printed a moment ago.",
            )
        ]

    def __str__(self) -> str:
        return f"copy {self.copy}"


class LabelCount(Correctable):
    """What became of labels that were issued, as it was counted."""

    class Kind(models.TextChoices):
        """What became of them."""

        APPLIED = "applied", "applied to bottles"
        SPOILED = "spoiled", "spoiled and destroyed"
        RETURNED = "returned", "left over and destroyed"
        SPECIMEN = "specimen", "kept as a specimen"

    filling_lot = models.ForeignKey(
        FillingLot, on_delete=models.PROTECT, related_name="label_counts"
    )
    kind = models.CharField(max_length=20, choices=Kind.choices)
    count = models.PositiveIntegerField()
    note = models.CharField(max_length=200, blank=True)

    objects = CorrectableQuerySet.as_manager()

    class Meta(Correctable.Meta):
        abstract = False
        ordering = ("pk",)
        constraints = [
            *Correctable.Meta.constraints,
            models.CheckConstraint(
                condition=models.Q(
                    kind__in=["applied", "spoiled", "returned", "specimen"]
                ),
                name="label_count_kind_known",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.count} {self.kind}"
