"""Forms at the pot, at the bench and at the door."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from decimal import Decimal
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, cast

from django import forms
from django.utils.functional import cached_property

from batches import trace
from batches.forms.how import HowFields
from batches.lifecycle import BottleStatus
from batches.models import Batch, Bottle, Formula, FormulaLine, FormulaVersion, Reading
from batches.services import back_in_stock, bottle_moves, proposing
from producer.forms.base import ActForm, ReasonForm
from producer.forms.fields import MassField, NumberField, ObservedField
from producer.models import Instrument, RawLot, Stock, User, Vessel
from producer.quantities import whole_number

MOST_DISCOUNT = Decimal(10)


def scales() -> Any:
    """Return the scales in use."""
    return Instrument.objects.filter(kind=Instrument.Kind.SCALE, in_use=True)


def offer(field: forms.Field, kinds: Iterable[str]) -> None:
    """Offer the instruments of these kinds that are in use, or say why there are none.

    Without any the empty choice and its refusal tell which are out of use, because an
    instrument that failed its check is.
    """
    choice = cast("forms.ModelChoiceField[Instrument]", field)
    rows = Instrument.objects.filter(kind__in=list(kinds))
    choice.queryset = rows.filter(in_use=True)
    choice.error_messages["invalid_choice"] = (
        "This is not in use any more: it may just have failed its check. Choose another"
        " one."
    )
    if choice.queryset.exists():
        return
    out = ", ".join(row.name for row in rows)
    sentence = (
        f"None is in use. Out of use: {out}. What failed its check comes back once it"
        " passes one; or register another."
        if out
        else "None is registered yet. Register it under “Instruments” first."
    )
    choice.empty_label = "none in use"
    choice.help_text = sentence
    choice.error_messages["required"] = sentence


if TYPE_CHECKING:
    _StockChoice = forms.ModelChoiceField[Stock]
else:
    _StockChoice = forms.ModelChoiceField


class StockChoice(_StockChoice):
    """A choice among stocks, each told by code, what it is and what is left.

    With what other batches mean to use of it, where ``meant`` says so, and its expiry.
    A batch with something in it that stands in the way of a release says so.
    """

    meant: Mapping[int, list[proposing.Meant]] = MappingProxyType({})

    def label_from_instance(self, stock: Stock) -> str:
        """Name a stock."""
        lot = getattr(stock, "lot", None)
        what = f"{lot.material}, {lot.supplier}" if lot else ""
        left = proposing.meant_words(stock.on_hand_mg, self.meant.get(stock.pk, ()))
        label = f"{stock.code} {what} – {left}"
        if lot and (last := lot.last_day):
            ends = "expires" if last == lot.expires_on else "retest by"
            label += f", {ends} {last.day} {last:%b %Y}"
        blocked = self._blocked.get(stock.pk) if lot is None else None
        return f"{label} – DO NOT USE: {', '.join(blocked)}" if blocked else label

    @cached_property
    def _blocked(self) -> dict[int, list[str]]:
        """Return what blocks the batches offered; asked once, if there is one."""
        rows = self.queryset
        if rows is None:
            return {}
        batches = rows.filter(kind=Stock.Kind.BATCH)
        return trace.blocked(list(batches.values_list("pk", flat=True)))


class DrawnFrom(StockChoice):
    """The stock that a charge is drawn from.

    One that was emptied while somebody stood at the scale is no longer offered and is
    still taken: so the service refuses it with what is on hand and who took the rest,
    and keeps the trace of who wanted it.
    """

    def to_python(self, value: Any) -> Stock | None:
        """Return the stock chosen, or one that has nothing left."""
        try:
            return super().to_python(value)
        except forms.ValidationError:
            emptied = Stock.objects.filter(on_hand_mg=0)
            found = emptied.filter(pk=whole_number(str(value), default=0)).first()
            if found is None:
                raise
            return found


def sources_for(line: FormulaLine, on: Any) -> Any:
    """Return the stocks that may serve a line now, first expired first."""
    return proposing.offered(line, on)


class OpenForm(ActForm):
    """Open a batch from the newest version of a formula."""

    formula = forms.ModelChoiceField(
        Formula.objects.filter(versions__isnull=False).distinct(), label="Formula"
    )
    basis_mg = MassField(
        label="How much",
        unit="kg",
        above_zero=True,
        help_text="All oils together for a cook; the paste for a dilution.",
    )
    is_rework = forms.BooleanField(
        label="It takes in a rejected batch for rework",
        required=False,
        help_text="Only after a reviewer has signed the rework decision.",
    )
    opened_at = ObservedField()


class LotsForm(ActForm):
    """Choose a stock for each line; of raw lots the first in turn is chosen already."""

    def __init__(
        self,
        *args: Any,
        lines: list[FormulaLine],
        on: Any,
        batch: Batch | None = None,
        **options: Any,
    ) -> None:
        super().__init__(*args, **options)
        offered: list[Stock] = []
        for line in lines:
            rows, name = sources_for(line, on), f"line_{line.pk}"
            self.fields[name] = field = StockChoice(
                rows,
                label=str(line.material or line.source_formula),
                required=False,
                empty_label="not chosen yet",
            )
            in_turn = list(rows)
            offered += in_turn
            if line.material_id and in_turn:
                field.initial = in_turn[0].pk
        if batch is None:
            return  # what others mean to use is not told from what this one does
        meant = proposing.reservations(offered, besides=batch)
        for choice in self.fields.values():
            if isinstance(choice, StockChoice):
                choice.meant = meant

    def facts(self) -> dict[str, Any]:
        """Return formula line id → stock."""
        return {
            "choices": {
                int(name.removeprefix("line_")): stock
                for name, stock in super().facts().items()
            }
        }


class WeighForm(ActForm):
    """Gross and tare from one scale."""

    scale = forms.ModelChoiceField(
        Instrument.objects.none(), label="Scale", empty_label=None
    )
    gross_mg = MassField(label="Gross")
    tare_mg = MassField(label="Tare", help_text="0 if the scale was tared.")
    observed_at = ObservedField()

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        offer(self.fields["scale"], [Instrument.Kind.SCALE])


class YieldForm(WeighForm):
    """What came out, and the vessel it was weighed in."""

    vessel = forms.ModelChoiceField(
        Vessel.objects.filter(in_use=True),
        label="Vessel on the scale",
        required=False,
        empty_label="not in the register",
    )

    field_order = ("scale", "vessel", "gross_mg", "tare_mg", "observed_at")


class DiscountForm(ReasonForm):
    """Which part of the potash is left out on purpose."""

    discount = NumberField(
        label="Lye discount (%)",
        within=(Decimal(0), MOST_DISCOUNT),
        help_text="Percent of the potassium hydroxide that the oils need; 0 for none.",
    )

    field_order = ("discount", "reason")

    def clean_discount(self) -> Decimal:
        """Return the discount as a share, exact to a hundredth of a percent."""
        percent: Decimal = self.cleaned_data["discount"]
        if not 0 <= percent <= MOST_DISCOUNT:
            raise forms.ValidationError(
                "A lye discount lies between 0 and 10 %. More leaves fat in the jug."
            )
        if percent != round(percent, 2):
            raise forms.ValidationError("Write it to a hundredth of a percent at most.")
        return percent / 100


class ChargeForm(HowFields, WeighForm):
    """A weighed charge for a line of the formula."""

    source = DrawnFrom(Stock.objects.none(), label="From", empty_label=None)
    passed_over = forms.CharField(
        label="If one that expires earlier is left, why", required=False
    )
    unusual = forms.CharField(
        label="If this is an unusual amount, why",
        required=False,
        help_text="Only when it is far from what the formula asks for.",
    )

    field_order = (
        "source",
        "container",
        "portion",
        "scale",
        "vessel",
        "gross_mg",
        "tare_mg",
        "observed_at",
        "passed_over",
        "unusual",
    )

    def __init__(
        self,
        *args: Any,
        batch: Batch,
        line: FormulaLine | None,
        on: Any,
        **options: Any,
    ) -> None:
        super().__init__(*args, **options)
        if line is not None:
            rows = sources_for(line, on)
        else:
            rows = Stock.objects.filter(
                batch__status="reworked", on_hand_mg__gt=0
            ).exclude(pk=batch.pk)
        field = cast("StockChoice", self.fields["source"])
        field.queryset = rows
        offered = list(rows)
        field.meant = proposing.reservations(offered, besides=batch)
        self.ask_how(offered)
        self._ask_turn([stock.lot for stock in offered if stock.kind == Stock.Kind.LOT])

    def _ask_turn(self, lots: list[RawLot]) -> None:
        """Ask why a lot is left only where lots of several dates are offered."""
        said = self.data.get(self.add_prefix("passed_over"))
        if len({lot.last_day for lot in lots}) <= 1 and not said:
            del self.fields["passed_over"]
        elif lots:
            self.fields["passed_over"].help_text = f"{lots[0].code} comes first."


class AmendWeighingForm(ReasonForm):
    """A correction of a weighing."""

    gross_mg = MassField(label="Gross, as it should read")
    tare_mg = MassField(label="Tare, as it should read")

    field_order: tuple[str, ...] = ("gross_mg", "tare_mg", "reason")


class ReadingForm(ActForm):
    """A temperature, a pH or a clarity test."""

    value = NumberField(label="Value")
    clarity = forms.ChoiceField(
        label="A small portion in hot distilled water looks",
        choices=Reading.Clarity.choices,
        widget=forms.RadioSelect,
    )
    method = forms.CharField(label="How it was taken", max_length=120)
    instrument = forms.ModelChoiceField(
        Instrument.objects.none(), label="Read from", empty_label=None
    )
    observed_at = ObservedField()

    KINDS = {  # noqa: RUF012 - a constant of the form
        "temperature": ("value", "instrument"),
        "ph": ("value", "method", "instrument"),
        "clarity": ("clarity",),
    }
    INSTRUMENTS = {  # noqa: RUF012
        "temperature": ("thermometer",),
        "ph": ("ph_meter", "ph_strips"),
        "clarity": (),
    }

    def __init__(
        self, *args: Any, characteristic: str, version: FormulaVersion, **options: Any
    ) -> None:
        super().__init__(*args, **options)
        wanted = (*self.KINDS[characteristic], "observed_at", "submission")
        for name in [name for name in self.fields if name not in wanted]:
            if name != "reason":
                del self.fields[name]
        if "instrument" in self.fields:
            offer(self.fields["instrument"], self.INSTRUMENTS[characteristic])
        if "value" in self.fields:
            self.fields["value"].label = {"temperature": "Temperature (°C)"}.get(
                characteristic, "pH"
            )
        if "method" in self.fields:
            self.fields["method"].initial = version.ph_method


class AmendReadingForm(ReadingForm):
    """A correction of a reading."""

    reason = forms.CharField(label="Why", widget=forms.Textarea({"rows": 2}))
    observed_at = None  # type: ignore[assignment]  # it stays that of the observation


class BottleMoveForm(ReasonForm):
    """What became of a bottle."""

    new = forms.ChoiceField(label="What happened", widget=forms.RadioSelect)
    inspection = forms.CharField(
        label="What you found on looking at it",
        required=False,
        widget=forms.Textarea({"rows": 2}),
        help_text="Needed before it goes back to stock: seal, level, colour, label.",
    )

    field_order = ("new", "inspection", "reason")

    def __init__(
        self,
        *args: Any,
        bottle: Bottle,
        user: User,
        is_recalled: bool,
        **options: Any,
    ) -> None:
        super().__init__(*args, **options)
        choices = [
            (new, words)
            for new, words in bottle_moves.choices_for(user, bottle.status)
            if is_recalled or new != BottleStatus.RECOVERED
        ]
        self.fields["new"].choices = choices  # type: ignore[attr-defined]
        to_stock = BottleStatus.FILLED in dict(choices)
        if not (to_stock and back_in_stock.was_out(bottle)):
            del self.fields["inspection"]
