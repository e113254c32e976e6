"""What becomes of an entry at the pot that was kept on a device and does not fit."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping
from typing import Any, cast

from django import forms
from django.http import HttpRequest
from django.shortcuts import get_object_or_404

from batches.models import Batch, Discrepancy
from batches.services import discrepancies, kept_figures
from batches.services.kept_figures import TAKEN
from producer.models import Stock
from producer.views import acts
from producer.views.devices import OF_THE_SENDING, Kept

# Hidden fields that say which sending it was or where to go on, not what was entered.
NOT_ENTERED = {*OF_THE_SENDING, "csrfmiddlewaretoken", "submission", "then", "seen"}
SETTLES = "settles"
DIFFERS = "differs"
MOST_DIGITS = 18  # of an id that any table can hold
# Of what is kept as it was sent: ours, far more than any page of ours asks for.
MOST_CHARACTERS = 4000
MOST_FIELDS = 60
MOST_VALUES = 60  # of one field that is ticked or chosen several times


class Keeping:
    """Keeps an entry of a batch as a discrepancy, and settles one by entering it.

    ``kind`` names the entry for the record, ``source`` is what it is taken from where
    the form does not say so. A page that was opened with ``?settles=<id>`` begins with
    what was sent, asks why if something else is entered, and ends that discrepancy.
    """

    def __init__(
        self,
        request: HttpRequest,
        batch: Batch,
        kind: str,
        *,
        title: str,
        source: Stock | None = None,
    ) -> None:
        self.request, self.batch, self.kind, self.title = request, batch, kind, title
        self.source = source

    def keep(
        self, form: acts.Act, kept: Kept, why: str, submission: acts.Submission
    ) -> str:
        """Record what was sent as a discrepancy; return what is said of it."""
        is_taken = self.kind in TAKEN
        stock, facts = self._stock(form), _readable(form)
        entry = discrepancies.Entry(
            kind=self.kind,
            title=self.title,
            path=_cut(self.request.get_full_path()),
            fields=dict(_typed(self.request)),
            shown=list(_shown(form, self.request)),
            stock=stock if is_taken else None,
            net_mg=_net_mg(facts) if is_taken else 0,
            figures=kept_figures.figures_of(facts, stock),
            observed_at=form.cleaned_data.get("observed_at") or kept.happened,
        )
        row = discrepancies.record(
            by=acts.user_of(self.request),
            batch=self.batch,
            entry=entry,
            refused=_cut(why),
            submission=submission,
        )
        return (
            f"Kept as a discrepancy: {discrepancies.said(row)} {why} The batch is held"
            " until it is settled on its page."
        )

    def ask(self, form: acts.Act) -> None:
        """Ask why, in a form that settles something, if it says something else."""
        row = self._settled()
        if row is not None:
            form.fields[DIFFERS] = forms.CharField(
                label="If it is not what was sent, why",
                required=False,
                widget=forms.Textarea(attrs={"rows": 2}),
                help_text=f"Sent: {kept_figures.sent_words(row)}.",
            )

    def prefill(self) -> Mapping[str, Any]:
        """Return what was sent, and when it was done, for the form that enters it."""
        row = self._settled()
        if row is None or row.kind != self.kind:
            return {}
        return {**row.sent["fields"], "observed_at": row.observed_at}

    def settling(self, do: acts.Do) -> acts.Do:
        """Return ``do``, which then also ends the discrepancy of the address."""
        row = self._settled()
        if row is None:
            return do
        found, by = row, acts.user_of(self.request)

        def settled(facts: acts.Facts, submission: acts.Submission) -> Any:
            reason = facts.get(DIFFERS, "")
            facts = {name: facts[name] for name in facts if name != DIFFERS}
            at = facts.get("observed_at")
            if at == found.observed_at.replace(second=0, microsecond=0):
                # As the form showed it, which has no seconds.
                facts = {**facts, "observed_at": found.observed_at}
            return discrepancies.enter(
                by=by,
                discrepancy=found,
                kind=self.kind,
                figures=kept_figures.figures_of(facts, self.source),
                do=lambda _: do(facts, submission),
                reason=reason,
                submission=submission,
            )

        return settled

    def _settled(self) -> Discrepancy | None:
        pk = self.request.GET.get(SETTLES, "")
        if not pk:
            return None
        rows = Discrepancy.objects.filter(batch=self.batch).select_related("stock")
        return get_object_or_404(rows, pk=int(pk) if pk.isdecimal() else 0)

    def _stock(self, form: acts.Act) -> Stock | None:
        """Return what it was taken from, although it may be no choice any more."""
        if self.source is not None:
            return self.source
        pk = self.request.POST.get("source", "")
        if "source" not in form.fields or not pk.isdecimal() or len(pk) > MOST_DIGITS:
            return None
        return Stock.objects.filter(pk=int(pk)).first()


def _readable(form: acts.Act) -> Mapping[str, Any]:
    """Return what the form says, as far as it could be read."""
    try:
        return form.facts()
    except KeyError as error:
        # A field that could not be read is not among them; anything else is a fault.
        if error.args[0] not in cast("Any", form).errors:
            raise
        return form.cleaned_data


def _net_mg(facts: Mapping[str, Any]) -> int:
    """Return what was taken; 0 where it cannot be read."""
    gross_mg, tare_mg = facts.get("gross_mg"), facts.get("tare_mg")
    if isinstance(gross_mg, int) and isinstance(tare_mg, int):
        return max(0, gross_mg - tare_mg)
    return 0


def _entered(request: HttpRequest) -> Iterator[tuple[str, list[Any]]]:
    """Yield what was sent that somebody entered: no password, no token."""
    for name, values in request.POST.lists():
        if name not in NOT_ENTERED and "password" not in name:
            yield name, values


def _typed(request: HttpRequest) -> Iterator[tuple[str, Any]]:
    """Yield what was typed, by name, as much as a page of ours can have asked for."""
    for name, values in itertools.islice(_entered(request), MOST_FIELDS):
        clean = [_cut(str(value)) for value in values[:MOST_VALUES]]
        yield _cut(name), clean[0] if len(clean) == 1 else clean


def _cut(text: str) -> str:
    """Return a text as it can be kept, and say if that is not all of it."""
    # No table takes a null character, and no keyboard sends one.
    text = text.replace("\0", "")
    if len(text) <= MOST_CHARACTERS:
        return text
    return f"{text[:MOST_CHARACTERS]} … cut at {MOST_CHARACTERS} characters"


def _shown(form: acts.Act, request: HttpRequest) -> Iterator[list[str]]:
    """Yield label and value of what was typed, in words."""
    sent = dict(_typed(request))
    for name, field in form.fields.items():
        value = sent.get(name)
        if name in NOT_ENTERED or not value or field.widget.is_hidden:
            continue
        yield [str(field.label or name), _words(field, value)]
    further = sum(1 for _ in _entered(request)) - len(sent)
    if further > 0:
        yield ["Further fields", f"{further}, not kept"]


def _words(field: forms.Field, value: Any) -> str:
    """Return the words of a choice, or what was typed."""
    text = ", ".join(value) if isinstance(value, list) else str(value)
    if isinstance(field, forms.ModelChoiceField) and field.queryset is not None:
        key = text if text.isdecimal() and len(text) <= MOST_DIGITS else "0"
        row = field.queryset.model._default_manager.filter(pk=key).first()
        return text if row is None else str(row)
    if isinstance(field, forms.ChoiceField):
        return str(dict(field.choices).get(text, text))  # type: ignore[arg-type]
    return text
