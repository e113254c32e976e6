"""Forms for goods in."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from decimal import Decimal
from typing import Any

from django import forms
from django.utils import timezone

from producer.forms.base import ActForm, ReasonForm
from producer.forms.fields import (
    DayField,
    MassField,
    MoneyField,
    NumberField,
    ObservedField,
)
from producer.models import Certificate, Material, RawLot, Supplier
from producer.services.checks import local_day
from producer.services.containers import MOST_AT_ONCE, alike
from producer.services.intake import CertificateValues
from producer.services.stock import last_movement
from producer.templatetags.kettlebook import day, number

PERCENT = (Decimal(0), Decimal(100))
SAPONIFICATION_VALUES = (Decimal(160), Decimal(280))
HALF_WIDTHS_OF_ASSAY = (Decimal(0), Decimal(5))
HALF_WIDTHS_OF_SAPONIFICATION = (Decimal(0), Decimal(20))
# How the values of the version before are said beside the fields of a new one.
SAID_OF_FORMER: dict[str, Callable[[Any], str]] = {
    "reference": str,
    "issued_on": day,
    "assay_percent": lambda value: f"{number(value)} %",
    "assay_basis": lambda value: str(Certificate.Basis(value).label),
    "assay_is_minimum": lambda _: "ticked",
    "assay_half_width": lambda value: f"± {number(value)} %",
    "carbonate_percent": lambda value: f"{number(value)} %",
    "saponification_value": lambda value: f"{number(value)} mg KOH/g",
    "saponification_half_width": lambda value: f"± {number(value)} mg KOH/g",
}
# Without one of these the figure of a lot is another.
FIGURES_STATED = SAID_OF_FORMER.keys() - {"reference", "issued_on"}


def _today() -> datetime.date:
    return local_day(timezone.now())


class ReceiveForm(ActForm):
    """What came in."""

    material = forms.ModelChoiceField(Material.objects.all(), label="Material")
    supplier = forms.ModelChoiceField(Supplier.objects.all(), label="Supplier")
    supplier_lot = forms.CharField(
        label="Supplier's lot", max_length=80, help_text="As printed on the container."
    )
    quantity_mg = MassField(label="Quantity", unit="kg")
    received_on = DayField(label="Received on", initial=_today)
    expires_on = DayField(label="Expiry date", required=False)
    retest_on = DayField(
        label="Retest date",
        required=False,
        help_text="Potash weakens once opened: set a date to test it again.",
    )
    place = forms.CharField(label="Where it is kept", required=False, max_length=80)
    containers = forms.IntegerField(
        label="In how many containers",
        required=False,
        min_value=1,
        max_value=MOST_AT_ONCE,
        help_text="Then each has its own book. Of several sizes: leave this empty and"
        " register them on the page of the lot.",
    )
    each_mg = MassField(
        label="Net in each of them",
        unit="kg",
        required=False,
        above_zero=True,
        help_text="Empty: the quantity in equal parts.",
    )
    paid_hundredths = MoneyField(
        label="Paid for all of it",
        required=False,
        help_text="Goods and carriage, in the currency of the premises.",
    )

    def facts(self) -> dict[str, Any]:
        """Return the delivery, and its containers if there is a number of them."""
        facts = super().facts()
        count, each_mg = facts.pop("containers"), facts.pop("each_mg")
        if count:
            each_mg = each_mg or facts["quantity_mg"] // count
            facts["fillings"] = alike(count=count, each_mg=each_mg)
        return facts


class CertificateForm(ActForm):
    """What the certificate of analysis says, and the paper itself."""

    file = forms.FileField(
        label="The certificate", required=False, help_text="PDF, JPEG or PNG, to 10 MB."
    )
    reference = forms.CharField(label="Its number", required=False, max_length=80)
    issued_on = DayField(label="Its date", required=False)
    assay_percent = NumberField(
        label="Assay (%)", within=PERCENT, places=3, required=False
    )
    assay_basis = forms.ChoiceField(
        label="What the assay counts",
        required=False,
        choices=[("", "no assay"), *Certificate.Basis.choices],
    )
    assay_is_minimum = forms.BooleanField(
        label="It says “minimum” or “not less than”",
        required=False,
        help_text="Then the middle of what it may be is taken; see the lot's page.",
    )
    assay_half_width = NumberField(
        label="± of the assay (%)",
        within=HALF_WIDTHS_OF_ASSAY,
        places=3,
        required=False,
        help_text="If it states one. Empty: ± 0.5 % is taken, a habit of the trade.",
    )
    carbonate_percent = NumberField(
        label="Carbonate, as K₂CO₃ (%)",
        within=PERCENT,
        places=3,
        required=False,
        help_text="Ask for it. Unknown, total alkali may hold up to 3.5 % of it.",
    )
    saponification_value = NumberField(
        label="Saponification value (mg KOH/g)",
        within=SAPONIFICATION_VALUES,
        places=2,
        required=False,
    )
    saponification_half_width = NumberField(
        label="± of the saponification value (mg KOH/g)",
        within=HALF_WIDTHS_OF_SAPONIFICATION,
        places=2,
        required=False,
        help_text="If it states one. Empty: ± 1 is taken, a habit of the trade.",
    )
    not_stated = forms.BooleanField(
        label="The new paper does not state what was left empty", required=False
    )
    reason = forms.CharField(
        label="Why a new version",
        required=False,
        help_text="Needed when the lot has a certificate already.",
    )

    def __init__(self, *args: Any, lot: RawLot, **options: Any) -> None:
        super().__init__(*args, **options)
        # Shown beside each field and never put into it: it is read from the new paper.
        self.former = lot.certificates.order_by("-version").first()
        kind = lot.material.kind
        if kind != Material.Kind.OIL:
            del self.fields["saponification_value"]
            del self.fields["saponification_half_width"]
        if kind != Material.Kind.POTASH:
            del self.fields["assay_basis"]
            del self.fields["assay_is_minimum"]
            del self.fields["assay_half_width"]
            del self.fields["carbonate_percent"]
            del self.fields["assay_percent"]
        if self.former is None:
            del self.fields["reason"]
            self.fields["file"].required = True
        for name, words in self._stated().items():
            field = self.fields[name]
            field.help_text = f"Was {words}. {field.help_text}".strip()
        if self.former is None or not self.is_bound:  # asked about what is left empty
            del self.fields["not_stated"]

    def clean(self) -> dict[str, Any]:
        """Ask about what the version before stated and what is empty in this one."""
        cleaned: dict[str, Any] = super().clean() or self.cleaned_data
        left = [
            f"{self.fields[name].label} was {words}"
            for name, words in self._stated().items()
            if name in FIGURES_STATED
            and name in cleaned
            and not cleaned[name]
            # Nought is stated.
            and not isinstance(cleaned[name], Decimal)
        ]
        if left and not cleaned.get("not_stated"):
            self.add_error(
                "not_stated",
                f"Left empty, though the version before stated it: {'; '.join(left)}."
                " Read the new paper again. If it does not state it, say so here and"
                " send it again.",
            )
        return cleaned

    def _stated(self) -> dict[str, str]:
        """Return what the version before stated, in words, by the name of its field."""
        if self.former is None:
            return {}
        values = {name: getattr(self.former, name) for name in SAID_OF_FORMER}
        return {
            name: SAID_OF_FORMER[name](value)
            for name, value in values.items()
            if name in self.fields
            # Nought is stated, though it equals False.
            and not (value is None or value is False or value == "")
        }

    def facts(self) -> dict[str, Any]:
        """Return values, upload and reason, as the service takes them."""
        facts = super().facts()
        facts.pop("not_stated", None)
        upload, reason = facts.pop("file"), facts.pop("reason", "")
        return {
            "values": CertificateValues(**facts),
            "upload": upload,
            "reason": reason,
        }


class DecisionForm(ReasonForm):
    """Release, reject, hold, or lift the hold."""

    new = forms.ChoiceField(label="Decision", widget=forms.RadioSelect)

    field_order = ("new", "reason")

    def __init__(
        self, *args: Any, choices: list[tuple[str, str]], **options: Any
    ) -> None:
        super().__init__(*args, **options)
        self.fields["new"].choices = choices  # type: ignore[attr-defined]


class CountForm(ReasonForm):
    """What one lot, or one container of it, was found to hold."""

    # What moves from now on makes it a count of something else.
    after_movement = forms.IntegerField(
        widget=forms.HiddenInput, initial=last_movement, required=False
    )
    counted_mg = MassField(label="Counted")
    observed_at = ObservedField()

    field_order = ("counted_mg", "observed_at", "reason")


class DisposalForm(ReasonForm):
    """What was thrown away, and where it went."""

    amount_mg = MassField(label="Disposed of")
    observed_at = ObservedField()

    field_order = ("amount_mg", "observed_at", "reason")


class PriceForm(ActForm):
    """What was paid for a lot."""

    paid_hundredths = MoneyField(
        label="Paid for all of it",
        required=False,
        help_text="Goods and carriage. Empty: not known after all.",
    )
    reason = forms.CharField(
        label="Why it is another",
        required=False,
        help_text="Needed when a price stands there already.",
    )
