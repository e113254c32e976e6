"""The form that corrects a charge: its masses, and which raw lot it was of."""

from __future__ import annotations

import datetime
from typing import TYPE_CHECKING, Any, cast

from django import forms
from django.db.models import F

from batches.forms.how import ContainerChoice
from batches.forms.making import AmendWeighingForm
from batches.models import Charge
from batches.services.cooking import another_lot
from producer.forms.fields import MassField
from producer.models import Container, RawLot, Stock
from producer.quantities import format_mass

if TYPE_CHECKING:
    _StockChoice = forms.ModelChoiceField[Stock]
else:
    _StockChoice = forms.ModelChoiceField


class LotChoice(_StockChoice):
    """A choice among raw lots, each told by both its numbers, its dates and its state.

    The supplier's number too: it stands on the sack that was in somebody's hand.
    """

    def label_from_instance(self, stock: Stock) -> str:
        """Name a lot."""
        lot = stock.lot
        words = [
            f"{lot.supplier}, lot {lot.supplier_lot}",
            f"received {_day(lot.received_on)}",
        ]
        if lot.expires_on is not None:
            words.append(f"expires {_day(lot.expires_on)}")
        if lot.retest_on is not None:
            words.append(f"retest by {_day(lot.retest_on)}")
        if lot.status != RawLot.Status.RELEASED:
            words.append(str(lot.get_status_display()))
        words.append(f"{format_mass(stock.on_hand_mg)} left")
        return f"{stock.code} – {', '.join(words)}"


class AmendChargeForm(AmendWeighingForm):
    """A correction of a charge; masses left empty stay as they are for another lot."""

    source = LotChoice(
        Stock.objects.none(),
        label="The lot that it was",
        required=False,
        empty_label=None,
        help_text="Read it from the container again, not from the sheet.",
    )
    container = ContainerChoice(
        Container.objects.none(),
        label="Out of which container of that lot",
        required=False,
        empty_label="as it was, or what follows from the lot",
    )
    certain = forms.BooleanField(
        label="It was this lot for certain, whatever stands in the way",
        required=False,
        help_text=(
            "Only if the page says what stands in the way. What follows is as if it"
            " had been written down so at first."
        ),
    )
    gross_mg = MassField(label="Gross, as it should read", required=False)
    tare_mg = MassField(label="Tare, as it should read", required=False)

    field_order = ("source", "container", "gross_mg", "tare_mg", "reason", "certain")

    def __init__(self, *args: Any, charge: Charge, **options: Any) -> None:
        super().__init__(*args, **options)
        self._charge = charge
        rows = another_lot.offered(charge)
        lots = list(rows)
        field = cast("LotChoice", self.fields["source"])
        field.queryset, field.initial = rows, charge.source_id
        if len(lots) <= 1:
            del self.fields["source"], self.fields["certain"]
        else:
            self.fields["gross_mg"].help_text = "Empty for another lot: as it was."
            self.fields["tare_mg"].help_text = "Empty for another lot: as it was."
        self._offer_containers([stock.pk for stock in lots])

    def _offer_containers(self, ids: list[int]) -> None:
        field = cast("ContainerChoice", self.fields["container"])
        rows = Container.objects.with_book().filter(lot_id__in=ids)
        field.queryset = rows.select_related("lot__stock").order_by(
            F("lot_id"), "number"
        )
        if not field.queryset.exists():
            del self.fields["container"]

    def clean(self) -> dict[str, Any]:
        """Keep the masses that were not typed, where lot or container is another."""
        found: dict[str, Any] = super().clean() or self.cleaned_data
        charge = self._charge
        source, container = found.get("source"), found.get("container")
        is_other = (source is not None and source.pk != charge.source_id) or (
            container is not None and container.pk != charge.container_id
        )
        for name in ("gross_mg", "tare_mg"):
            if name not in found or found[name] is not None:
                continue
            if is_other:
                found[name] = getattr(charge, name)
            else:
                self.add_error(name, "This is needed.")
        return found

    def facts(self) -> dict[str, Any]:
        """Return the facts; what was not asked for is not named."""
        facts = super().facts()
        return {
            name: value
            for name, value in facts.items()
            if name not in {"source", "container"} or value is not None
        }


def _day(day: datetime.date) -> str:
    return f"{day.day} {day:%b %Y}"
