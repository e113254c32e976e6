"""Forms for the texts of labels and for the recorded hazard class."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django import forms

from batches.label_words import LANGUAGES
from batches.models import Classification, Formula, LabelVersion
from batches.services.formulas import newest_version
from producer.forms.base import ActForm

REASON_LENGTH = 400


class LabelTextForm(ActForm):
    """What a label says in one language, besides the fixed words."""

    product_name = forms.CharField(label="Name on the label", max_length=80)
    directions = forms.CharField(
        label="Directions for use", required=False, widget=forms.Textarea({"rows": 4})
    )
    cautions = forms.CharField(
        label="Further cautions",
        required=False,
        widget=forms.Textarea({"rows": 3}),
        help_text="Printed below the usual ones. No hazard class: that is recorded.",
    )
    doses = forms.BooleanField(
        label="With the table of doses",
        required=False,
        help_text="For soft, medium and hard water, reckoned for each batch.",
    )
    classification = forms.ModelChoiceField(
        label="Hazard class to print",
        queryset=Classification.objects.none(),
        required=False,
        help_text="As recorded last. Choose the wording in the language of the label.",
    )
    reason = forms.CharField(
        label="Why a new version",
        max_length=REASON_LENGTH,
        required=False,
        help_text="Stays on record.",
    )

    def __init__(
        self,
        *args: Any,
        formula: Formula,
        language: str,
        former: LabelVersion | None,
        classes: Sequence[Classification],
        **options: Any,
    ) -> None:
        super().__init__(*args, **options)
        for name in ("product_name", "directions", "cautions"):
            self.fields[name].widget.attrs["lang"] = language
        if formula.purpose != Formula.Purpose.WASH:
            del self.fields["doses"]
        if former is None:
            del self.fields["reason"]
        else:
            self.fields["reason"].required = True
        choice = self.fields["classification"]
        if isinstance(choice, forms.ModelChoiceField):
            pks = [row.pk for row in classes]
            choice.queryset = Classification.objects.filter(pk__in=pks).order_by("pk")
            choice.choices = [
                ("", "none"),
                *((row.pk, in_short(row)) for row in classes),
            ]
        if not classes:
            del self.fields["classification"]


class ClassifyForm(ActForm):
    """The hazard class of a product, as the maker decided it."""

    signal = forms.ChoiceField(
        label="Signal word",
        choices=Classification.Signal.choices,
        widget=forms.RadioSelect,
    )
    statements_en = forms.CharField(
        label="Statements to print, English",
        required=False,
        widget=forms.Textarea({"rows": 4, "lang": "en"}),
        help_text="Hazard and precautionary statements, word for word.",
    )
    statements_de = forms.CharField(
        label="Statements to print, German",
        required=False,
        widget=forms.Textarea({"rows": 4, "lang": "de"}),
    )
    identifier = forms.CharField(
        label="Formula identifier (UFI), if there is one",
        required=False,
        max_length=40,
    )
    basis = forms.CharField(
        label="Basis",
        widget=forms.Textarea({"rows": 3}),
        help_text="Who classified it, from which data, by which rules.",
    )

    def facts(self) -> dict[str, Any]:
        """Return what the service takes: the statements as a list of wordings."""
        facts = super().facts()
        wordings = [facts.pop(f"statements_{language}") for language in LANGUAGES]
        return {**facts, "statements": wordings}


def initial_of(
    formula: Formula,
    language: str,
    former: LabelVersion | None,
    classes: Sequence[Classification],
) -> dict[str, Any]:
    """Return what a new version starts from: the former text, or what the formula says.

    Of the class only the wording that the former text printed is chosen beforehand.
    """
    source = former or newest_version(formula)
    begun: dict[str, Any] = {
        name: getattr(source, name)
        for name in ("product_name", "directions", "cautions")
    }
    if former is None:
        return begun
    printed = former.classification
    same = (
        row.pk for row in classes if printed and row.statements == printed.statements
    )
    return {**begun, "doses": former.doses, "classification": next(same, None)}


def initial_class(classes: Sequence[Classification]) -> dict[str, Any]:
    """Return what recording the class anew starts from; nothing if it is the first."""
    if not classes:
        return {}
    first = classes[0]
    begun = {"signal": first.signal, "identifier": first.identifier}
    return {**begun, "basis": first.basis}


def in_short(row: Classification) -> str:
    """Return signal word and statements of a recorded class in one line."""
    words = " ".join(row.statements.split())
    signal = str(row.get_signal_display())
    return f"{signal}: {words}" if words else signal
