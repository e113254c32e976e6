"""Forms about portions, and the choice of one that something is taken from."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, cast

from django import forms

from batches.models import Portion
from batches.services import portion_books
from producer.forms.base import ActForm, ReasonForm
from producer.forms.fields import MassField, ObservedField
from producer.models import Place, Stock
from producer.quantities import format_mass

if TYPE_CHECKING:
    _PortionChoice = forms.ModelChoiceField[Portion]
else:
    _PortionChoice = forms.ModelChoiceField


class PortionChoice(_PortionChoice):
    """A choice among portions, each with what is left of it, its place and purpose."""

    words: Mapping[int, str] = MappingProxyType({})

    def __init__(self, queryset: Any, **options: Any) -> None:
        options.setdefault("label", "From which portion")
        options.setdefault("empty_label", "from none of them")
        super().__init__(queryset, **options)

    def label_from_instance(self, portion: Portion) -> str:
        """Name a portion."""
        return self.words.get(portion.pk) or portion_books.code_of(portion)


def offer_portions(form: forms.Form, stocks: Iterable[Stock]) -> None:
    """Offer the portions of these stocks with something in them, or ask nothing.

    One that was emptied while somebody stood at the scale is still taken, so that the
    service refuses it with what is left.
    """
    ids = [stock.pk for stock in stocks if stock.kind == Stock.Kind.BATCH]
    known = portion_books.of_batches(ids) if ids else []
    asked = bool(form.data.get(form.add_prefix("portion")))
    offered = [one for one in known if asked or one.left_mg > 0]
    if not offered:
        del form.fields["portion"]
        return
    field = cast("PortionChoice", form.fields["portion"])
    field.words = {one.portion.pk: _words(one) for one in offered}
    field.queryset = Portion.objects.filter(pk__in=field.words).select_related(
        "batch__stock"
    )


def _words(one: portion_books.PortionNow) -> str:
    said = [f"{format_mass(one.left_mg)} left"]
    said += [str(one.place)] if one.place else []
    said += [one.purpose] if one.purpose else []
    return f"{one.code} – {', '.join(said)}"


class _PortionFacts(ActForm):
    """How much, where and what for."""

    mass_mg = MassField(label="How much", unit="kg", above_zero=True)
    place = forms.ModelChoiceField(
        Place.objects.filter(in_use=True),
        label="Where it stands",
        required=False,
        empty_label="not said",
        help_text="Places are registered under “Registers”.",
    )
    purpose = forms.CharField(
        label="What it is meant for", required=False, max_length=120
    )


class PortionForm(_PortionFacts):
    """A portion to set aside."""

    observed_at = ObservedField()


class AmendPortionForm(_PortionFacts, ReasonForm):
    """A portion that was moved, or written down wrongly."""

    field_order = ("mass_mg", "place", "purpose", "reason")

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["mass_mg"].label = "How much was in it at first"
