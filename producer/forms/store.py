"""Forms of the store: containers of a lot, and the stock-take."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from django import forms
from django.core.exceptions import ValidationError

from producer.forms.base import ActForm, say_what_is_missing
from producer.forms.fields import MassField, ObservedField
from producer.models import Container
from producer.quantities import format_mass
from producer.services.containers import MOST_AT_ONCE, alike
from producer.services.counting import Counted, Place
from producer.services.stock import last_movement

WHERE = "A shelf, a cupboard. Dry, cool, locked where it must be."


class ContainersForm(ActForm):
    """Containers of one size; other sizes go in by another form."""

    count = forms.IntegerField(
        label="How many", min_value=1, max_value=MOST_AT_ONCE, initial=1
    )
    each_mg = MassField(
        label="In each of them",
        unit="kg",
        above_zero=True,
        help_text="Net, from the label. Without a unit it is kg, as for goods in.",
    )
    is_little = forms.BooleanField(
        label="It is right: they hold no more than that", required=False
    )
    tare_mg = MassField(
        label="Tare of each",
        required=False,
        above_zero=True,
        help_text="Empty, with its lid. Not known: leave it empty, then the difference"
        " against the first weighing counts.",
    )
    place = forms.CharField(
        label="Where they are kept", required=False, max_length=80, help_text=WHERE
    )

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        if not self.is_bound:  # asked only about what was refused
            del self.fields["is_little"]

    def facts(self) -> dict[str, Any]:
        """Return the fillings, as the service takes them."""
        said = super().facts()
        is_little = said.pop("is_little")
        return {"fillings": alike(**said), "is_little": is_little}


class ContainerForm(ActForm):
    """Where a container is kept now, what it weighs empty, and what was filled in.

    ``untouched`` as long as nothing was drawn, weighed or counted of it: then the mass
    it was registered with can still be corrected.
    """

    place = forms.CharField(
        label="Where it is kept", required=False, max_length=80, help_text=WHERE
    )
    tare_mg = MassField(
        label="Tare",
        required=False,
        above_zero=True,
        help_text="Empty, with its lid. Empty field: not known.",
    )
    filled_mg = MassField(
        label="In it when it was registered",
        unit="kg",
        required=False,
        above_zero=True,
        help_text="Only if it was written down wrongly. Empty: it stays as it is.",
    )
    reason = forms.CharField(
        label="Why it was wrong",
        required=False,
        help_text="Needed when that mass is corrected; stays on record.",
    )

    def __init__(self, *args: Any, untouched: bool, **options: Any) -> None:
        super().__init__(*args, **options)
        if not untouched:
            del self.fields["filled_mg"], self.fields["reason"]


if TYPE_CHECKING:
    _Choice = forms.ModelChoiceField[Container]
else:
    _Choice = forms.ModelChoiceField


class ContainerChoice(_Choice):
    """Which container of a lot; with its book and its place."""

    def label_from_instance(self, obj: Any) -> str:
        """Return code, book and place."""
        where = f", {obj.place}" if obj.place else ""
        return f"{obj.code}: {format_mass(obj.book_mg)}{where}"


def offer_containers(
    form: ActForm, lot_id: int, *, nothing: str, before: str = ""
) -> None:
    """Add a choice of the lot's containers to a form, if the lot has any.

    ``nothing`` is what the empty choice says, ``before`` the field it goes before.
    """
    rows = (
        Container.objects.filter(lot_id=lot_id)
        .with_book()
        .select_related("lot__stock")
        .order_by("number")
    )
    if not rows:
        return
    field = ContainerChoice(
        rows, label="Which container", required=False, empty_label=nothing
    )
    form.fields["container"] = field
    names = [name for name in form.fields if name != "container"]
    at = names.index(before) if before else 0
    form.order_fields([*names[:at], "container", *names[at:]])


class StockTakeForm(ActForm):
    """A field for each thing to be counted; empty means not counted.

    The book is not shown before a count is written, so that nobody copies it. Where
    the two differ the form comes back once, with the book and a field for the reason.
    """

    after_movement = forms.IntegerField(
        widget=forms.HiddenInput, initial=last_movement, required=False
    )
    observed_at = ObservedField(label="When it was counted")
    note = forms.CharField(label="Note", required=False, max_length=200)

    def __init__(self, *args: Any, places: Sequence[Place], **options: Any) -> None:
        super().__init__(*args, **options)
        if self.is_bound:
            places = [one for one in places if _counted(one) in self.data]
        self.places = places
        groups: dict[str, list[str]] = {}
        for one in places:
            names = groups.setdefault(one.lot.material.name, [])
            names += self._add(one)
        self.groups = tuple((name, tuple(names)) for name, names in groups.items())
        say_what_is_missing(self)

    def _add(self, one: Place) -> list[str]:
        count, reason = _counted(one), _reason(one)
        outside = ", outside its containers" if one.is_outside else ""
        field = MassField(
            label=f"{one.code}{outside}", required=False, help_text=one.place
        )
        self.fields[count] = field
        if not self.is_bound or not _differs(field, self.data.get(count), one):
            return [count]
        self.fields[reason] = forms.CharField(
            label=f"{one.code}: why they differ",
            required=False,
            help_text=f"The book says {format_mass(one.book_mg)}.",
        )
        return [count, reason]

    def clean(self) -> dict[str, Any]:
        """Ask for at least one count, and for a reason where book and count differ."""
        cleaned: dict[str, Any] = super().clean() or self.cleaned_data
        for one in self.places:
            counted = cleaned.get(_counted(one))
            if _reason(one) in self.fields and not cleaned.get(_reason(one)):
                self.add_error(_reason(one), _difference(one, counted or 0))
        if not self.errors and not self.facts()["counts"]:
            raise ValidationError("Nothing was counted yet. Write at least one count.")
        return cleaned

    def facts(self) -> dict[str, Any]:
        """Return what was counted, as the service takes it."""
        said = super().facts()
        counts = [
            Counted(
                lot=one.lot,
                container=one.container,
                counted_mg=said[_counted(one)],
                reason=said.get(_reason(one), ""),
            )
            for one in self.places
            if said.get(_counted(one)) is not None
        ]
        kept = ("after_movement", "observed_at", "note")
        return {"counts": counts, **{name: said[name] for name in kept}}

    def is_potash_missing(self) -> bool:
        """Say whether less potash was counted than the book says."""
        return self.is_bound and any(
            one.lot.material.kind == "potash"
            and _reason(one) in self.fields
            and (self.cleaned_data.get(_counted(one)) or 0) < one.book_mg
            for one in self.places
        )


def _counted(one: Place) -> str:
    return f"counted_{one.key}"


def _reason(one: Place) -> str:
    return f"reason_{one.key}"


def _differs(field: MassField, text: Any, one: Place) -> bool:
    try:
        counted = field.clean(text)
    except ValidationError:  # told beside the count itself
        return False
    return counted is not None and counted != one.book_mg


def _difference(one: Place, counted_mg: int) -> str:
    difference = counted_mg - one.book_mg
    more = "more" if difference > 0 else "less"
    return (
        f"The book says {format_mass(one.book_mg)}; {format_mass(abs(difference))}"
        f" {more} was counted. Say why, or count again."
    )
