"""The form of the hold points: five points on one screen, ticks empty at first."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import TYPE_CHECKING, Any, cast

from django import forms
from django.urls import reverse
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from batches.models import Batch, HoldPoint
from batches.services.hold_points import EmptyVessel
from producer.forms.base import ActForm
from producer.forms.fields import MassField, NumberField, ObservedField
from producer.models import Instrument, Stock, Vessel
from producer.quantities import format_number
from quality.models import InstrumentCheck
from quality.services import hold_pointing
from quality.services.before_the_cook import sentences_of
from quality.services.hold_pointing import Counted, Held, Seen
from quality.services.lots_before import LotsFound

Point = HoldPoint.Point
NOTE = "If not, what is wrong"
FOLDED = "django/forms/folded.html"  # seldom needed: opened by a tap
FIELDS = {
    Point.LINE_CLEARANCE: ("cleared", "cleared_note"),
    Point.PROTECTION: ("protected", "protected_note"),
    Point.SCALE: ("counted", "scale", "weight", "shown", "scale_note"),
    Point.LOTS: ("lots",),
    Point.TARE: ("vessel", "mass_mg", "tare_scale"),
}


if TYPE_CHECKING:
    _Choice = forms.ModelChoiceField[Instrument]
else:
    _Choice = forms.ModelChoiceField


class ScaleChoice(_Choice):
    """A scale, with the error that it may have."""

    def label_from_instance(self, obj: Any) -> str:
        """Return its name and what passes: known before anybody looks."""
        most = format_number(hold_pointing.tolerance_for(obj))
        out = "" if obj.in_use else ", out of use until it passes"
        return f"{obj.name}: ± {most} g passes{out}"


class WeightChoice(_Choice):
    """A check weight, with what it weighs."""

    def label_from_instance(self, obj: Any) -> str:
        """Return its name and its mass."""
        return f"{obj.name}: {format_number(obj.nominal)} g"


class HoldPointsForm(ActForm):
    """What was found at each point; a point that nothing is said of is left as it is.

    Nothing that somebody has to find is filled in: no tick, no mass.
    """

    cleared = forms.BooleanField(label="In order", required=False)
    cleared_note = forms.CharField(label=NOTE, max_length=200, required=False)
    protected = forms.BooleanField(label="In order", required=False)
    protected_note = forms.CharField(label=NOTE, max_length=200, required=False)
    counted = forms.TypedMultipleChoiceField(
        label="It passed today already",
        coerce=int,
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text=(
            "One tap lets that check count, if nothing happened to the scale. Tick each"
            " scale that you weigh this batch on."
        ),
    )
    scale = ScaleChoice(Instrument.objects.none(), label="Scale", required=False)
    weight = WeightChoice(
        Instrument.objects.none(), label="Check weight on it", required=False
    )
    shown = NumberField(label="What the scale shows", required=False)
    scale_note = forms.CharField(
        label="If it cannot be checked, why",
        max_length=200,
        required=False,
        help_text="Or why a check that passed under a condition may count.",
    )
    lots = forms.BooleanField(
        label="These are the containers in my hand", required=False
    )
    vessel = forms.ModelChoiceField(
        Vessel.objects.none(), label="Vessel", required=False
    )
    mass_mg = MassField(label="What it weighs empty", required=False, above_zero=True)
    tare_scale = forms.ModelChoiceField(
        Instrument.objects.none(),
        label="Weighed on",
        required=False,
        empty_label="the scale above",
    )
    observed_at = ObservedField()

    def __init__(
        self,
        *args: Any,
        batch: Batch,
        passed: Collection[str],
        last_scale: Instrument | None,
        good: Sequence[InstrumentCheck],
        weights: Sequence[Instrument],
        found: LotsFound,
        **options: Any,
    ) -> None:
        super().__init__(*args, **options)
        self.good = {check.pk: check for check in good}
        self.last_scale = last_scale
        for name, point in (
            ("cleared", Point.LINE_CLEARANCE),
            ("protected", Point.PROTECTION),
        ):
            self.fields[name].help_text = _list(sentences_of(batch.kind, point))
        self.fields["scale"].help_text = _list(sentences_of(batch.kind, Point.SCALE))
        self.fields["lots"].help_text = _lots(found)
        self.fields["mass_mg"].help_text = (
            "Clean, dry, with nothing in it. What the register says is compared after"
            " you have looked."
        )
        self.fields["shown"].unit = "g"  # type: ignore[attr-defined]
        self._offer_checks(good)
        self._offer("scale", hold_pointing.scales())
        self._offer("weight", _rows(weights), none=_no_weight())
        self._offer("vessel", Vessel.objects.filter(in_use=True), none=_no_vessel())
        tare_scale = cast("Any", self.fields["tare_scale"])
        tare_scale.queryset = Instrument.objects.filter(kind="scale", in_use=True)
        for name in ("cleared_note", "protected_note", "scale_note"):
            self.fields[name].template_name = FOLDED  # type: ignore[attr-defined]
        self.groups = self._grouped(passed)

    def _offer_checks(self, good: Sequence[InstrumentCheck]) -> None:
        if not good:
            del self.fields["counted"]
            return
        cast("Any", self.fields["counted"]).choices = [
            (
                check.pk,
                f"{check.instrument.name}, held against {check.against}: "
                + (
                    "conditional pass, counts only with a reason below"
                    if hold_pointing.is_only_conditional(check)
                    else "passed"
                ),
            )
            for check in good
        ]

    def _offer(self, name: str, rows: Any, *, none: str = "") -> None:
        """Offer rows of a register; the only one there is needs no choosing."""
        field = cast("Any", self.fields[name])
        field.queryset = rows
        count = rows.count()
        field.empty_label = None if count == 1 else "choose" if count else "none yet"
        if not count and none:
            field.help_text = none

    def _grouped(
        self, passed: Collection[str]
    ) -> tuple[tuple[str, tuple[str, ...]], ...]:
        """Return the open points first; what is in order can be gone through again."""
        made = [
            (
                point in passed,
                f"{point.label.capitalize()}{', again' if point in passed else ''}",
                tuple(name for name in FIELDS[point] if name in self.fields),
            )
            for point in Point
        ]
        made.sort(key=lambda one: one[0])
        return (*((heading, names) for _, heading, names in made),)

    def clean(self) -> dict[str, Any]:
        """Ask for the other half of what is half filled in."""
        cleaned: dict[str, Any] = super().clean() or self.cleaned_data
        for tick, note in (
            ("cleared", "cleared_note"),
            ("protected", "protected_note"),
        ):
            if cleaned.get(tick) and cleaned.get(note):
                self.add_error(
                    note, "In order, or not and why: take the tick away, or this note."
                )
        self._clean_scale(cleaned)
        if cleaned.get("mass_mg") is not None and not cleaned.get("vessel"):
            self.add_error("vessel", "Choose the vessel that stands on the scale.")
        if cleaned.get("mass_mg") is not None and not self._scale_of_pot(cleaned):
            self.add_error("tare_scale", "Choose the scale that it stands on.")
        if self._was_chosen("vessel") and not self._says("mass_mg"):
            self.add_error("mass_mg", "Write what the empty vessel weighs.")
        return cleaned

    def _clean_scale(self, cleaned: dict[str, Any]) -> None:
        if cleaned.get("shown") is not None:
            for name in ("scale", "weight"):
                if not cleaned.get(name) and name not in self.errors:
                    self.add_error(name, "Choose which one.")
            if cleaned.get("scale_note"):
                self.add_error(
                    "scale_note", "The check says how it is. Take this note away."
                )
        elif self._was_chosen("weight") and not self._says("shown"):
            self.add_error("shown", "Write what the scale shows with the weight on.")

    def _was_chosen(self, name: str) -> bool:
        """Say whether somebody chose here, where there was a choice."""
        field = cast("Any", self.fields[name])
        return field.empty_label is not None and bool(self.cleaned_data.get(name))

    def _says(self, name: str) -> bool:
        return name in self.errors or self.cleaned_data.get(name) is not None

    def _scale_of_pot(self, cleaned: dict[str, Any]) -> Instrument | None:
        """Return the scale that the vessel stood on: the one said, else the checked."""
        if chosen := cleaned.get("tare_scale"):
            return cast("Instrument", chosen)
        if cleaned.get("shown") is not None:
            return cast("Instrument | None", cleaned.get("scale"))
        counted = self._counted(cleaned)
        return counted[0].instrument if len(counted) == 1 else self.last_scale

    def _counted(self, said: dict[str, Any]) -> list[InstrumentCheck]:
        return [self.good[pk] for pk in said.get("counted") or ()]

    def facts(self) -> dict[str, Any]:
        """Return what was looked at, as the service takes it."""
        said = self.cleaned_data
        scale_of_pot = self._scale_of_pot(said)
        pot = None
        if said["mass_mg"] is not None and scale_of_pot is not None:
            pot = EmptyVessel(
                vessel=said["vessel"], scale=scale_of_pot, mass_mg=said["mass_mg"]
            )
        return {
            "cleared": _seen(said["cleared"], said["cleared_note"]),
            "protected": _seen(said["protected"], said["protected_note"]),
            **self._scale(said),
            "lots": said["lots"],
            "pot": pot,
            "observed_at": said["observed_at"],
        }

    def _scale(self, said: dict[str, Any]) -> dict[str, Any]:
        """Return what was found of the scales; a note is for what needs one."""
        note, checks = said["scale_note"], self._counted(said)
        needs_note = [one for one in checks if hold_pointing.is_only_conditional(one)]
        noted = needs_note or checks  # the service refuses a note that nothing needs
        scale: hold_pointing.Scale | None = None
        if said["shown"] is not None:
            scale = Held(
                scale=said["scale"], weight=said["weight"], shown=said["shown"]
            )
        elif note and not checks:
            scale = Seen(in_order=False, note=note)
        return {
            "scale": scale,
            "counted": [
                Counted(check=one, note=note if one in noted else "") for one in checks
            ],
        }


def _seen(tick: bool, note: str) -> Seen | None:  # noqa: FBT001 - a tick is one
    return Seen(in_order=tick, note=note) if tick or note else None


def _rows(instruments: Sequence[Instrument]) -> Any:
    return Instrument.objects.filter(pk__in=[one.pk for one in instruments])


def _list(sentences: Sequence[str]) -> SafeString:
    return format_html(
        "<ul>{}</ul>", format_html_join("", "<li>{}</li>", ((s,) for s in sentences))
    )


def _lots(found: LotsFound) -> SafeString:
    """Return the lots as they will be looked at, each with what stops it."""
    return format_html(
        "<ul>{}</ul>",
        format_html_join(
            "",
            "<li>{} {}{}</li>",
            (
                (
                    line.name,
                    _code(line.source),
                    format_html(" <strong>{}</strong>", line.trouble)
                    if line.trouble
                    else "",
                )
                for line in found.lines
            ),
        ),
    )


def _code(source: Stock | None) -> SafeString | str:
    if source is None:
        return ""
    if source.kind == Stock.Kind.LOT:
        address = reverse("producer:lot", args=[source.code])
    else:
        address = reverse("batches:batch", args=[source.code])
    return format_html('<a class="code" href="{}">{}</a>', address, source.code)


def _register(kind: str, words: str) -> SafeString:
    return format_html(
        'None is in use and in date. <a href="{}">{}</a>.',
        reverse("producer:register_new", args=[kind]),
        words,
    )


def _no_weight() -> SafeString:
    return _register("instruments", "Register your check weight")


def _no_vessel() -> SafeString:
    return _register("vessels", "Register the vessel with its tare")
