"""Forms of the registers: suppliers, consignees, materials, instruments, premises."""

from __future__ import annotations

import uuid
from typing import TYPE_CHECKING, Any, cast

from django import forms
from django.db import models
from django.utils.text import capfirst

from producer.forms.base import bound_texts, say_what_is_missing
from producer.forms.fields import DayField, MassField, NumberField
from producer.middleware import decimal_mark
from producer.models import (
    Consignee,
    Instrument,
    Material,
    Place,
    Premises,
    Supplier,
    Vessel,
)
from producer.quantities import format_number, grams
from producer.services.registers import fingerprint

MG_READ_TWICE = 10  # three decimals of a gram are read in two ways
IN_MG = "_mg"  # at the end of the name of a field: whole milligrams


def typed_field(field: models.Field[Any, Any], **options: Any) -> forms.Field | None:
    """Return our own form field for numbers and days, Django's for the rest."""
    if isinstance(field, models.DecimalField):
        return field.formfield(
            form_class=OurNumber, max_digits=None, decimal_places=None, **options
        )
    if isinstance(field, models.BigIntegerField) and field.name.endswith(IN_MG):
        return OurMass(
            label=capfirst(field.verbose_name).removesuffix(" (mg)"),
            help_text=field.help_text,
            required=not field.blank,
            **options,
        )
    if isinstance(field, models.DateField):
        return field.formfield(form_class=DayField, **options)
    if isinstance(field, models.TextField):
        options["widget"] = forms.Textarea(attrs={"rows": 3})
    return field.formfield(**options)


class OurNumber(NumberField):
    """A number field that takes what a model's decimal field passes along."""

    def __init__(
        self, *, max_digits: int | None, decimal_places: int | None, **options: Any
    ) -> None:
        super().__init__(**options)


class OurMass(MassField):
    """A mass that is kept in whole milligrams and typed and shown in grams."""

    def prepare_value(self, value: Any) -> Any:
        """Return milligrams as grams; what was typed stays as it was typed."""
        if not isinstance(value, int):
            return value
        if value % MG_READ_TWICE:  # “64.305” could mean 64305 g when it comes back
            return f"{value} mg"
        return format_number(grams(value), mark=decimal_mark())


if TYPE_CHECKING:
    _ModelForm = forms.ModelForm[Any]
else:
    _ModelForm = forms.ModelForm


class RegisterForm(_ModelForm):
    """An entry of a register, with the fingerprint it had when it was shown."""

    submission = forms.UUIDField(widget=forms.HiddenInput, initial=uuid.uuid4)
    seen = forms.CharField(widget=forms.HiddenInput, required=False)

    class Meta:
        formfield_callback = typed_field

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        say_what_is_missing(self)
        if self.instance.pk and not self.instance._state.adding:
            self.fields["seen"].initial = fingerprint(self.instance)

    def full_clean(self) -> None:
        """Check it, no text of it longer than anybody reads."""
        bound_texts(self)
        super().full_clean()

    def facts(self) -> dict[str, Any]:
        """Return the entry and the fingerprint, as the service takes them."""
        return {"entry": self.instance, "seen": self.cleaned_data["seen"] or None}


def _form(model: type[models.Model], *names: str) -> type[RegisterForm]:
    made = forms.modelform_factory(
        model, form=RegisterForm, fields=names, formfield_callback=typed_field
    )
    return cast("type[RegisterForm]", made)


SupplierForm = _form(Supplier, "name", "address", "phone", "email", "note")
ConsigneeForm = _form(
    Consignee, "kind", "name", "address", "phone", "email", "keep_until"
)
MaterialForm = _form(
    Material,
    "name",
    "kind",
    "acid",
    "saponification_low",
    "saponification_high",
    "saponification_source",
)
InstrumentForm = _form(
    Instrument,
    "kind",
    "name",
    "serial_or_lot",
    "resolution",
    "bias_half_width",
    "capacity",
    "nominal",
    "check_every_days",
    "opened_on",
    "days_after_opening",
    "expires_on",
    "in_use",
)
VesselForm = _form(Vessel, "name", "made_of", "tare_mg", "note", "in_use")
PlaceForm = _form(Place, "name", "conditions", "in_use")
PremisesForm = _form(
    Premises,
    "name",
    "address",
    "phone",
    "email",
    "poison_centre",
    "time_zone",
    "decimal_mark",
    "one_person",
    "self_review_pause_hours",
    "free_alkali_limit_percent",
    "unsaponified_limit_percent",
    "risk_to_warn_percent",
    "risk_to_stop_percent",
    "water_hardness",
    "currency",
    "gs1_company_prefix",
    "location_number",
)
