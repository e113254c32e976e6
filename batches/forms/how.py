"""Fields that say how a mass was weighed: container, vessel, by difference or not."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from typing import TYPE_CHECKING, Any, cast

from django import forms
from django.db.models import F

from batches.forms.portions import PortionChoice, offer_portions
from batches.models import Portion
from batches.services.cooking.how import How
from producer.forms.base import ActForm
from producer.forms.fields import MassField
from producer.models import Container, Stock, Vessel
from producer.quantities import format_mass

HOW = ("container", "portion", "vessel", "by_difference", "passed_over")

if TYPE_CHECKING:
    _ContainerChoice = forms.ModelChoiceField[Container]
else:
    _ContainerChoice = forms.ModelChoiceField


class ContainerChoice(_ContainerChoice):
    """A choice among the containers of some lots, each with what its book says."""

    def label_from_instance(self, container: Container) -> str:
        """Name a container."""
        words = [f"{format_mass(container.book_mg)} by the book"]  # type: ignore[attr-defined]
        words += ["opened"] if container.opened_at else []
        words += [container.place] if container.place else []
        return f"{container.code} – {', '.join(words)}"


class HowFields(ActForm):
    """Gross and tare of a vessel, or one container before and after.

    The form that has these fields calls :meth:`ask_how` once it knows from what.
    """

    gross_mg = MassField(label="Gross")
    tare_mg = MassField(label="Tare", help_text="0 if the scale was tared.")
    container = ContainerChoice(
        Container.objects.none(),
        label="From which container",
        required=False,
        empty_label="from none of them",
    )
    portion = PortionChoice(Portion.objects.none(), required=False)
    vessel = forms.ModelChoiceField(
        Vessel.objects.none(),
        label="Vessel on the scale",
        required=False,
        empty_label="not in the register",
    )
    by_difference = forms.BooleanField(required=False, widget=forms.HiddenInput)

    @property
    def is_by_difference(self) -> bool:
        """Say whether the container is weighed before and after."""
        return str(self["by_difference"].value()) in {"True", "on", "true", "1"}

    def ask_how(self, stocks: Iterable[Stock]) -> None:
        """Offer the containers or portions of these stocks, and the vessels, if any."""
        stocks = list(stocks)
        self._offer_containers([stock.pk for stock in stocks])
        offer_portions(self, stocks)
        self._offer_vessels()
        if self.is_by_difference:
            self.fields["gross_mg"].label = "The container before"
            self.fields[
                "gross_mg"
            ].help_text = "With its lid on, before anything is taken."
            self.fields["tare_mg"].label = "The same container after"
            self.fields["tare_mg"].help_text = "With the same lid on again."

    def _offer_containers(self, ids: list[int]) -> None:
        asked = bool(self.data.get(self.add_prefix("container")))
        rows = Container.objects.with_book().filter(lot_id__in=ids)
        if not asked:
            rows = rows.filter(book_mg__gt=0)  # type: ignore[misc]  # annotated
        field = cast("ContainerChoice", self.fields["container"])
        # In their order with what was opened first: one tin is emptied, then the next.
        field.queryset = rows.select_related("lot__stock").order_by(
            F("opened_at").asc(nulls_last=True), "lot_id", "number"
        )
        if self.is_by_difference:
            field.empty_label = "choose it"
        of_a_lot = Counter(row.lot_id for row in field.queryset)
        if not asked and max(of_a_lot.values(), default=0) <= 1:
            del self.fields["container"]  # it follows from the lot

    def _offer_vessels(self) -> None:
        field = cast("forms.ModelChoiceField[Vessel]", self.fields["vessel"])
        field.queryset = Vessel.objects.filter(in_use=True)
        if not field.queryset.exists():
            del self.fields["vessel"]
            return
        if self.is_by_difference:
            field.label = "Or the vessel it was poured from"
            field.empty_label = "it was a container of the lot"
        elif "tare_mg" in self.fields:
            tare = self.fields["tare_mg"]
            tare.required = False
            tare.help_text = (
                "0 if the scale was tared. Empty: what is written on the vessel chosen."
            )

    def clean(self) -> dict[str, Any]:
        """Take the tare from the register where only the vessel was said."""
        found: dict[str, Any] = super().clean() or self.cleaned_data
        if "tare_mg" in self.fields and found.get("tare_mg", 0) is None:
            vessel: Vessel | None = found.get("vessel")
            if vessel is None or self.is_by_difference:
                self.add_error("tare_mg", "This is needed.")
            else:
                found["tare_mg"] = vessel.tare_mg
        return found

    def facts(self) -> dict[str, Any]:
        """Return the facts, with what belongs together as ``how``."""
        facts = super().facts()
        said = {name: facts.pop(name) for name in HOW if name in facts}
        return {**facts, "how": How(**said)}
