"""Titrations: record one with its samples, take one back.

What the samples weigh is a few grams and is not booked out of stock; a container
weighing shows it.
"""

from __future__ import annotations

import dataclasses
import datetime
import uuid
from collections.abc import Sequence
from decimal import ROUND_HALF_EVEN, ROUND_UP, Decimal
from typing import Any

from django.db import transaction
from django.utils import timezone

from batches.chemistry import slips
from batches.chemistry.errors import ChemistryError
from batches.chemistry.estimates import format_plus_minus
from batches.chemistry.replicates import (
    Bench,
    Determination,
    Kind,
    Sample,
    determine,
)
from batches.chemistry.titration import (
    free_fatty_acid_percent,
    volume_at_standard_temperature,
)
from batches.lifecycle import BatchStatus
from batches.models import Batch, Formula, Titration, TitrationReplicate
from batches.services import contradictions
from batches.services.closed import Also, act_and_facts, may_amend
from batches.services.cooking.rows import newest
from batches.services.indicators import still_good
from producer import journal
from producer.errors import Refusal
from producer.models import Instrument, Material, RawLot, Right, Stock, User
from producer.quantities import grams
from producer.services.checks import need_reason, plausible_time, require

FITTING: dict[str, tuple[Kind, ...]] = {
    Material.Kind.POTASH: (Kind.POTASH,),
    Material.Kind.OIL: (Kind.SAPONIFICATION_VALUE, Kind.ACID_VALUE),
}
NAMES = {
    Kind.POTASH: "Hydroxide",
    Kind.SAPONIFICATION_VALUE: "Saponification value",
    Kind.ACID_VALUE: "Acid value",
    Kind.FREE_ALKALI: "Free alkali",
}
UNITS = {
    Kind.POTASH: "% KOH",
    Kind.SAPONIFICATION_VALUE: "mg KOH/g",
    Kind.ACID_VALUE: "mg KOH/g",
    Kind.FREE_ALKALI: "% KOH",
}
# What a lot's figure is computed from; one sample is not enough for that.
COMPUTED = (Kind.POTASH, Kind.SAPONIFICATION_VALUE)
# g/mol, of the acid that free fatty acid is expressed as: C18H34O2.
OLEIC_ACID = Decimal("282.468")


@dataclasses.dataclass(frozen=True, kw_only=True)
class Replicate:
    """One sample as it was titrated: mass in mg, acid or alkali in ml.

    With ``excluded_because`` it stays on record and does not count.
    """

    sample_mg: int
    volume_ml: Decimal
    second_volume_ml: Decimal | None = None
    excluded_because: str = ""


@dataclasses.dataclass(frozen=True, kw_only=True)
class Setup:
    """What all samples of a titration share.

    Titrant in mol/l, ± as on label and burette, blank in ml. ``temperatures`` are that
    of an alcoholic titrant and that at which its strength was determined, in °C; the
    volumes are corrected with them.
    """

    concentration: Decimal
    burette_half_width: Decimal
    scale: Instrument
    half_width: Decimal = Decimal(0)
    blank_ml: Decimal | None = None
    temperatures: tuple[Decimal, Decimal] | None = None
    indicator: Instrument | None = None

    def bench(self) -> Bench:
        """Return it for the computation; a net mass is two readings of the scale."""
        blank = None if self.blank_ml is None else self._volume(self.blank_ml)
        return Bench(
            concentration=self.concentration,
            concentration_half_width=self.half_width,
            burette_half_width=self.burette_half_width,
            balance_uncertainty_g=self.scale.standard_uncertainty() * Decimal(2).sqrt(),
            blank_ml=blank,
        )

    def sample(self, one: Replicate) -> Sample:
        """Return a sample for the computation."""
        second = one.second_volume_ml
        return Sample(
            mass_g=grams(one.sample_mg),
            volume_ml=self._volume(one.volume_ml),
            second_volume_ml=None if second is None else self._volume(second),
            counts=not one.excluded_because.strip(),
        )

    def temperature_words(self) -> str:
        """Say how warm the titrant was, if its volumes are corrected."""
        if self.temperatures is None:
            return ""
        now, standard = self.temperatures
        return f"Titrant at {now:f} °C, its strength holds at {standard:f} °C."

    def _volume(self, volume_ml: Decimal) -> Decimal:
        if self.temperatures is None:
            return volume_ml
        now, standard = self.temperatures
        return volume_at_standard_temperature(
            volume_ml, temperature=now, standard_temperature=standard
        )


def kinds_for(stock: Stock) -> tuple[Kind, ...]:
    """Return what can be titrated of a lot or a batch; nothing for water and a liquid.

    Free alkali is for a paste: a dilution has it from its paste, and gets too thin.
    """
    if stock.kind == Stock.Kind.BATCH:
        batch = Batch.objects.get(pk=stock.pk)
        return () if batch.kind == Formula.Kind.DILUTION else (Kind.FREE_ALKALI,)
    lot = RawLot.objects.select_related("material").get(pk=stock.pk)
    return FITTING.get(lot.material.kind, ())


@transaction.atomic
def record_titration(
    *,
    by: User,
    stock: Stock,
    kind: str,
    replicates: Sequence[Replicate],
    setup: Setup,
    method: str = "",
    unusual: str = "",
    observed_at: datetime.datetime | None = None,
    submission: uuid.UUID | None = None,
) -> Titration:
    """Record a titration of a lot or a batch with all its samples and its result.

    A batch is titrated while its record is open, a lot at any time. What was read
    stands on record as it was read; an outlier is marked and kept. ``unusual`` is the
    reason for a result that contradicts what is known of the lot; without one it is
    refused, because it is mostly a slip.
    """
    require(by, Right.MAKER)
    observed_at = plausible_time(observed_at or timezone.now())
    what = _kind_that_fits(stock, kind)
    subject = _subject(by, stock)
    if isinstance(subject, Batch) and subject.status == BatchStatus.PLANNED:
        raise Refusal("Nothing is in the pot yet. Weigh the first charge.")
    if setup.scale.kind != Instrument.Kind.SCALE:
        raise Refusal("Choose the scale the samples were weighed on.", field="scale")
    try:
        found = _determined(what, replicates, setup)
    except ChemistryError as error:
        raise Refusal(str(error)) from error
    if isinstance(subject, RawLot):
        contradictions.check(
            lot=subject,
            kind=what,
            found=found,
            concentration=setup.concentration,
            unusual=unusual,
        )
    row = Titration(
        stock=stock,
        kind=what,
        method=f"{method.strip()} {setup.temperature_words()}".strip(),
        titrant_concentration=setup.concentration,
        titrant_half_width=setup.half_width,
        burette_half_width=setup.burette_half_width,
        scale=setup.scale,
        indicator=still_good(setup.indicator, observed_at),
        blank_ml=setup.blank_ml,
        value=_stored(found.value),
        standard_uncertainty=_doubt(found.standard_uncertainty),
        carbonate=None if found.carbonate is None else _stored(found.carbonate),
        carbonate_uncertainty=None
        if found.carbonate_uncertainty is None
        else _doubt(found.carbonate_uncertainty),
        sentence=sentence_of(what, found, replicates),
        reason=unusual.strip(),
        observed_at=observed_at,
        entered_by=by,
    )
    row.full_clean()
    row.save(force_insert=True)
    for replicate in _rows(row, replicates, found):
        replicate.full_clean()
        replicate.save(force_insert=True)
    journal.write(
        by=by,
        act=f"{row.get_kind_display()} titrated",
        subject=subject,
        label=stock.code,
        after=titration_facts(row),
        reason=row.reason,
        submission=submission,
    )
    return row


@transaction.atomic
def take_back_titration(
    *,
    by: User,
    titration: Titration,
    reason: str,
    also: Also | None = None,
    submission: uuid.UUID | None = None,
) -> Titration:
    """Take a titration back by a new, empty row; its result counts no more.

    ``also`` lets a signed batch be corrected; only quality's change after signature
    passes it, see :mod:`batches.services.closed`.
    """
    subject = _subject(by, titration.stock, also)
    # Two people who take it back at once wait here for each other.
    Stock.objects.select_for_update().get(pk=titration.stock_id)
    newest(titration, Titration.objects.all())
    row = Titration(
        stock=titration.stock,
        kind=titration.kind,
        supersedes=titration,
        is_void=True,
        reason=need_reason(reason),
        observed_at=titration.observed_at,
        entered_by=by,
    )
    row.full_clean()
    row.save(force_insert=True)
    act, further = act_and_facts("titration taken back", also, subject, titration, row)
    journal.write(
        by=by,
        act=act,
        subject=subject,
        label=titration.stock.code,
        before=titration_facts(titration),
        after={"is_void": True, **further},
        reason=row.reason,
        submission=submission,
    )
    return row


def titration_facts(row: Titration) -> dict[str, Any]:
    """Return a titration with its samples as plain JSON values."""
    return {
        "kind": row.kind,
        "method": row.method,
        "titrant_concentration": _text(row.titrant_concentration),
        "titrant_half_width": _text(row.titrant_half_width),
        "burette_half_width": _text(row.burette_half_width),
        "scale": row.scale.name if row.scale else None,
        "indicator": row.indicator.name if row.indicator else None,
        "blank_ml": _text(row.blank_ml),
        "value": _text(row.value),
        "standard_uncertainty": _text(row.standard_uncertainty),
        "carbonate": _text(row.carbonate),
        "carbonate_uncertainty": _text(row.carbonate_uncertainty),
        "observed_at": row.observed_at.isoformat(),
        "replicates": [
            {
                "sample_mg": one.sample_mg,
                "volume_ml": _text(one.volume_ml),
                "second_volume_ml": _text(one.second_volume_ml),
                "value": _text(one.value),
                "is_suspect": one.is_suspect,
                "excluded_because": one.excluded_because,
            }
            for one in row.replicates.order_by("number")
        ],
    }


def sentence_of(
    kind: Kind, found: Determination, replicates: Sequence[Replicate]
) -> str:
    """Return a result in words: value ± U with k = 2, and what to know about it."""
    shown = format_plus_minus(found.value, 2 * found.standard_uncertainty)
    words = [f"{NAMES[kind]} {shown} {UNITS[kind]}"]
    if found.carbonate is not None and found.carbonate_uncertainty is not None:
        shown = format_plus_minus(found.carbonate, 2 * found.carbonate_uncertainty)
        words.append(f"carbonate {shown} % K₂CO₃")
    if kind is Kind.ACID_VALUE:
        percent = free_fatty_acid_percent(found.value, OLEIC_ACID)
        words.append(f"that is {percent:.2f} % free fatty acid as oleic acid")
    base = f"{', '.join(words)} (k = 2), {_of_how_many(kind, found.counted)}."
    return " ".join([base, *_remarks(found, replicates)])


def _of_how_many(kind: Kind, counted: int) -> str:
    if counted > 1:
        return f"mean of {counted} samples"
    if kind in COMPUTED:
        return "one sample: not computed with; titrate another"
    return "one sample"


def _remarks(found: Determination, replicates: Sequence[Replicate]) -> list[str]:
    remarks = []
    if found.counted == 1:
        remarks.append("How well it repeats is not known and not in the ±.")
    if found.suspect is not None:
        counts = not replicates[found.suspect].excluded_because
        remarks.append(
            f"Sample {found.suspect + 1} stands out from the others (Grubbs' test at"
            f" 5 %); it {'counts all the same' if counts else 'does not count'}."
        )
    remarks += [
        f"Sample {number} does not count: {one.excluded_because.strip()}."
        for number, one in enumerate(replicates, start=1)
        if one.excluded_because.strip()
    ]
    return remarks


def _determined(
    what: Kind, replicates: Sequence[Replicate], setup: Setup
) -> Determination:
    bench, samples = setup.bench(), [setup.sample(one) for one in replicates]
    slips.check_bench(bench)
    slips.check_samples(what, samples, capacity_g=setup.scale.capacity)
    return determine(what, samples, bench)


def _kind_that_fits(stock: Stock, kind: str) -> Kind:
    fitting = kinds_for(stock)
    if kind not in fitting:
        names = " or ".join(NAMES[one].lower() for one in fitting) or "nothing"
        raise Refusal(
            f"Of {stock.code} this cannot be titrated here: potash has hydroxide and"
            " carbonate, an oil its saponification and acid value, a cooked paste its"
            f" free alkali. For this one: {names}."
        )
    return Kind(kind)


def _subject(by: User, stock: Stock, also: Also | None = None) -> RawLot | Batch:
    """Return the lot, or the batch if its record takes this entry or correction."""
    if stock.kind == Stock.Kind.BATCH:
        return may_amend(by=by, batch=Batch.objects.get(pk=stock.pk), also=also)
    require(by, Right.MAKER)
    return RawLot.objects.get(pk=stock.pk)


def _rows(
    row: Titration, replicates: Sequence[Replicate], found: Determination
) -> list[TitrationReplicate]:
    return [
        TitrationReplicate(
            titration=row,
            number=number,
            sample_mg=one.sample_mg,
            volume_ml=one.volume_ml,
            second_volume_ml=one.second_volume_ml,
            value=_stored(value),
            is_suspect=found.suspect == number - 1,
            excluded_because=one.excluded_because.strip(),
        )
        for number, (one, value) in enumerate(
            zip(replicates, found.values, strict=True), start=1
        )
    ]


def _stored(value: Decimal) -> Decimal:
    return value.quantize(Decimal("0.0001"), ROUND_HALF_EVEN)


def _doubt(uncertainty: Decimal) -> Decimal:
    return uncertainty.quantize(Decimal("0.000001"), ROUND_UP)


def _text(value: Decimal | None) -> str | None:
    return None if value is None else f"{value.normalize():f}"
