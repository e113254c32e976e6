"""Deviations as they stand: read with their steps, never written here."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Iterator

from django.db import models

from batches.lifecycle import BatchStatus
from producer.models import Stock
from quality.models import Characteristic, Deviation, DeviationStep
from quality.models.limits import OF_FORMULAS
from quality.services import limits

Kind = DeviationStep.Kind
Decision = DeviationStep.Decision


@dataclasses.dataclass(frozen=True, kw_only=True)
class Standing:
    """A deviation with its steps in order; ``closing`` is the signed one or None."""

    deviation: Deviation
    steps: list[DeviationStep]

    @property
    def closing(self) -> DeviationStep | None:
        """The step that closed it, or None while it is open."""
        return next((one for one in self.steps if one.kind == Kind.CLOSED), None)

    @property
    def is_open(self) -> bool:
        """Say whether nothing has closed it."""
        return self.closing is None

    @property
    def classification(self) -> Deviation.Class:
        """The class that holds now: the last one a step gave, else the first."""
        given = [one.classification for one in self.steps if one.kind == Kind.CLASS]
        return Deviation.Class([self.deviation.classification, *given][-1])

    @property
    def name(self) -> str:
        """What it is about, in words: “batch B26-0001-2”, “instrument bench scale”."""
        return name_of(self.deviation)

    @property
    def code(self) -> str:
        """Its code."""
        return self.deviation.code

    @property
    def status(self) -> str:
        """Open or closed, as a slug."""
        return "open" if self.is_open else "closed"

    @property
    def words(self) -> str:
        """Open, or how it was decided."""
        return self.closing.get_decision_display() if self.closing else "open"

    @property
    def is_to_be_rejected(self) -> bool:
        """Say whether it was decided so, and nothing made over has answered it."""
        decision = self.closing.decision if self.closing else ""
        return decision == Decision.REJECTED and not self.is_reworked

    @property
    def is_reworked(self) -> bool:
        """Say whether a signed rework decision answered it: a batch, made over."""
        batch = getattr(self.deviation.stock, "batch", None)  # a raw lot has none
        return batch is not None and batch.status == BatchStatus.REWORKED

    def has(self, kind: str) -> bool:
        """Say whether there is a step of this kind."""
        return any(step.kind == kind for step in self.steps)


def results_of(stock: Stock) -> list[Characteristic]:
    """Return of which results of a raw lot or a batch there can be a deviation.

    Of a lot what its certificate can state; of a batch what is judged of its kind.
    """
    if stock.kind == Stock.Kind.LOT:
        return limits.possible(material=stock.lot.material)
    batch = stock.batch
    judged = {*limits.REQUIRED[batch.kind], *limits.limits_of(batch)}
    judged |= OF_FORMULAS - {Characteristic.CLARITY}
    return [one for one in Characteristic if one in judged]


def name_of(deviation: Deviation) -> str:
    """Return what a deviation is about, in words."""
    if deviation.stock is None:
        return f"instrument {deviation.instrument}"
    return f"{deviation.stock.get_kind_display()} {deviation.stock.code}"


def listed() -> models.QuerySet[Deviation]:
    """Return all deviations, the open ones first, each group newest first.

    Annotated with ``decision`` (None while open) and ``given`` (the class a step gave
    last, or None), and joined with what they are about.
    """
    steps = DeviationStep.objects.filter(deviation=models.OuterRef("pk"))
    steps = steps.order_by("-pk")
    return (
        Deviation.objects.select_related("stock", "instrument", "entered_by__person")
        .annotate(
            decision=models.Subquery(
                steps.filter(kind=Kind.CLOSED).values("decision")[:1]
            ),
            given=models.Subquery(
                steps.filter(kind=Kind.CLASS).values("classification")[:1]
            ),
        )
        .order_by(models.Case(models.When(decision=None, then=0), default=1), "-pk")
    )


def found(text: str, status: str = "") -> models.QuerySet[Deviation]:
    """Return those whose code, text, batch, lot or instrument contains ``text``.

    ``status`` narrows them to “open” or “closed”; anything else means all.
    """
    rows = listed()
    if status == "open":
        rows = rows.exclude(steps__kind=Kind.CLOSED)
    if status == "closed":
        rows = rows.filter(steps__kind=Kind.CLOSED)
    if not text:
        return rows
    return rows.filter(
        models.Q(code__icontains=text)
        | models.Q(what__icontains=text)
        | models.Q(stock__code__icontains=text)
        | models.Q(instrument__name__icontains=text)
    )


def standing(deviation: Deviation) -> Standing:
    """Return one deviation with its steps."""
    return Standing(
        deviation=deviation,
        steps=list(deviation.steps.select_related("entered_by__person").order_by("pk")),
    )


def of(
    *, stocks: Iterable[int] = (), instruments: Iterable[int] = ()
) -> list[Standing]:
    """Return the deviations about any of these, by their ids, oldest first.

    ``stocks`` are raw lots and batches.
    """
    steps = DeviationStep.objects.select_related("entered_by__person").order_by("pk")
    rows = (
        Deviation.objects.filter(
            models.Q(stock_id__in=list(stocks))
            | models.Q(instrument_id__in=list(instruments))
        )
        .select_related("stock__batch", "instrument", "entered_by__person")
        .prefetch_related(models.Prefetch("steps", queryset=steps))
    )
    return [
        Standing(deviation=row, steps=list(row.steps.all()))
        for row in rows.order_by("pk")
    ]


def of_stocks(ids: Iterable[int]) -> list[Standing]:
    """Return the deviations about any of these lots and batches, oldest first."""
    return of(stocks=ids)


def in_the_way(known: Iterable[Standing]) -> Iterator[str]:
    """Yield a sentence for each that is open, or decided “to be rejected”.

    One that was to be rejected and was reworked by a signed decision is answered: what
    it went into is judged by tests of its own.
    """
    for one in known:
        if one.is_open:
            yield (
                f"Deviation {one.code} of {one.name} is open. It is decided before"
                " anything is released."
            )
        elif one.is_to_be_rejected:
            yield f"Deviation {one.code} of {one.name} was decided: to be rejected."


def of_result(
    known: Iterable[Standing], stock_id: int, characteristic: str
) -> list[Standing]:
    """Return those of one characteristic of one lot or batch."""
    return [
        one
        for one in known
        if one.deviation.stock_id == stock_id
        and one.deviation.characteristic == characteristic
    ]


def subject(characteristic: str) -> str:
    """Return the characteristic in words, or nothing."""
    return Characteristic(characteristic).label if characteristic else ""
