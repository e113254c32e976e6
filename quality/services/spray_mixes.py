"""A tank mixed for own plants on own land: weighed out, written down, corrected."""

from __future__ import annotations

import datetime
import uuid
from collections.abc import Mapping
from decimal import Decimal
from types import MappingProxyType
from typing import Any

from django.db import transaction
from django.utils import timezone

from batches import trace
from batches.chemistry.doses import HIGHEST_SPRAY_G_PER_L, rate_of_tank
from batches.chemistry.errors import ChemistryError
from batches.lifecycle import BatchStatus
from batches.models import Batch, BulkWeighing, Formula, Portion, SprayMix
from batches.services import filling, moves, portion_books, spraying
from producer import journal
from producer.errors import Conflict, Refusal
from producer.models import Right, StockMovement, User
from producer.quantities import format_mass, grams
from producer.services import stock as ledger
from producer.services.checks import local_day, need_reason, plausible_time, require
from producer.services.numbers import next_code
from quality.services import dosing

MICROLITRES = 1_000_000  # in a litre
# A tank this far from what was aimed at is said to be so. Ours; no source.
MOST_OFF = Decimal("0.10")
# What is reckoned from a weighing on a kitchen scale is not finer than this, g/l.
STEP_OF_RATE = Decimal("0.1")
# What a correction may change; what it does not name stays.
CORRECTABLE = (
    "mass_mg",
    "tank_ul",
    "target_g_per_l",
    "hardness",
    "pre_dissolved",
    "plant",
    "pest",
    "where",
    "weather",
    "bees",
    "leftovers",
    "note",
)


@transaction.atomic
def mix(  # noqa: PLR0913 - as much as there is to say of a tank
    *,
    by: User,
    source: Batch,
    mass_mg: int,
    tank_ul: int,
    target_g_per_l: Decimal,
    hardness: Decimal,
    plant: str,
    pest: str,
    where: str,
    weather: str,
    bees: str,
    pre_dissolved: bool = False,
    portion: Portion | None = None,
    leftovers: str = "",
    note: str = "",
    observed_at: datetime.datetime | None = None,
    submission: uuid.UUID | None = None,
) -> SprayMix:
    """Record a tank of spray for own use, and draw what was weighed into it.

    ``mass_mg`` was weighed, of a released paste or spray; ``tank_ul`` is the whole
    tank, ``target_g_per_l`` the soap aimed at, ``hardness`` that of the water in
    mmol/l. Refused: what is not released, is past its life, or has something on hold
    in it; more than 30 g of soap a litre; more than is there. What a patch test would
    have told is not refused but said, see :func:`minds`.
    """
    require(by, Right.MAKER)
    journal.in_line()
    batch = moves.locked(source)
    observed_at = plausible_time(observed_at or timezone.now())
    _may_be_sprayed(batch, observed_at)
    product = _product(batch)
    row = SprayMix(
        code=next_code("M", local_day(observed_at).year),
        source=batch.stock,
        portion=portion_books.portion_for(batch.stock, portion, net_mg=mass_mg),
        mass_mg=mass_mg,
        tank_ul=tank_ul,
        target_g_per_l=target_g_per_l,
        hardness=hardness,
        soap_percent=round(product.percent, 3),
        molar_mass=round(product.molar_mass, 2),
        pre_dissolved=pre_dissolved,
        plant=plant.strip(),
        pest=pest.strip(),
        where=where.strip(),
        weather=weather.strip(),
        bees=bees.strip(),
        leftovers=leftovers.strip(),
        note=note.strip(),
        observed_at=observed_at,
        entered_by=by,
    )
    _check(row)
    _move(by, row, row.mass_mg)
    row.save(force_insert=True)
    _write(by, row, "spray mixed", None, submission)
    return row


@transaction.atomic
def amend_mix(
    *,
    by: User,
    mix: SprayMix,
    reason: str,
    changes: Mapping[str, Any] = MappingProxyType({}),
    void: bool = False,
    submission: uuid.UUID | None = None,
) -> SprayMix:
    """Correct a mix by a new row, or take it back; the old row stays legible.

    ``changes`` are values by the names in :data:`CORRECTABLE`. The stock follows: what
    was not taken goes back, what was taken besides is drawn. The soap content stays
    that of the day.
    """
    require(by, Right.MAKER)
    journal.in_line()
    batch = moves.locked(mix.source.batch)
    _newest(mix)
    unknown = changes.keys() - set(CORRECTABLE)
    if unknown:
        raise TypeError(f"A correction of a mix has no {', '.join(sorted(unknown))}.")
    row = _after(by, mix, need_reason(reason))
    row.is_void = void
    if void:
        row.mass_mg = 0
        row.full_clean()
    else:
        for name, value in changes.items():
            setattr(row, name, value.strip() if isinstance(value, str) else value)
        more_mg = row.mass_mg - mix.mass_mg
        if more_mg > 0:
            _may_be_sprayed(batch, mix.observed_at)
            was = portion_books.Taken(portion=mix.portion, mass_mg=mix.mass_mg)
            row.portion = portion_books.portion_for(
                batch.stock, mix.portion, net_mg=row.mass_mg, was=was
            )
        _check(row)
    _move(by, row, row.mass_mg - mix.mass_mg)
    row.save(force_insert=True)
    act = "spray mix taken back" if void else "spray mix corrected"
    _write(by, row, act, mix, submission)
    return row


@transaction.atomic
def note_leftovers(
    *,
    by: User,
    mix: SprayMix,
    leftovers: str,
    submission: uuid.UUID | None = None,
) -> SprayMix:
    """Write down what was left of a tank and what became of it, as a new row."""
    require(by, Right.MAKER)
    moves.locked(mix.source.batch)
    _newest(mix)
    if not leftovers.strip():
        raise Refusal("Write what was left, or that nothing was.", field="leftovers")
    row = _after(by, mix, "leftovers")
    row.leftovers = leftovers.strip()
    row.full_clean()
    row.save(force_insert=True)
    _write(by, row, "leftovers of a spray", mix, submission)
    return row


def rate_of(row: SprayMix) -> Decimal:
    """Return the soap that a tank has left to work, in g/l; the least it can be."""
    return rate_of_tank(
        product_g=grams(row.mass_mg),
        litres=Decimal(row.tank_ul) / MICROLITRES,
        content_percent=row.soap_percent,
        hardness_mmol_l=row.hardness,
        molar_mass=row.molar_mass,
    )


def minds(row: SprayMix) -> list[str]:
    """Return what is not as it should be with a mix, as sentences; none if nothing."""
    if row.is_void:
        return []
    rate, aim = rate_of(row), row.target_g_per_l
    is_off = abs(rate - aim) > MOST_OFF * aim
    said = spraying.what_tests_say(
        row.source.batch,
        plant=row.plant,
        # The plant gets what was weighed, whatever was aimed at.
        rate=max(aim, rate.quantize(STEP_OF_RATE)) if is_off else aim,
        at=row.observed_at,
    )
    if rate <= 0:
        said.append(
            "Water so hard takes all the soap that was weighed: nothing of it works."
            " Take rain water."
        )
    elif is_off:
        said.append(
            f"What was weighed gives {rate:.1f} g/l, not the {aim.normalize():f} g/l"
            " aimed at."
        )
    if not row.pre_dissolved:
        said.append(
            "It was not dissolved in a little warm soft water first: lumps block the"
            " nozzle and burn leaves."
        )
    return said


def why_not_mixed(batch: Batch, at: datetime.datetime) -> str:
    """Return why nothing of a batch goes into a tank, or nothing; for a page."""
    try:
        _may_be_sprayed(batch, at)
    except Refusal as refusal:
        return refusal.message
    return ""


def _may_be_sprayed(batch: Batch, at: datetime.datetime) -> None:
    number = batch.number
    if batch.status != BatchStatus.RELEASED:
        raise Refusal(
            f"Batch {number} is {BatchStatus(batch.status).label}. Only a released"
            " batch is mixed into a spray."
        )
    if batch.formula_version.formula.purpose == Formula.Purpose.WASH:
        raise Refusal(
            f"Batch {number} is for washing, not for plants. Take a paste, or a liquid"
            " whose formula is a spray."
        )
    blocked = trace.blocked([batch.pk]).get(batch.pk)
    if blocked:
        raise Refusal(
            f"Nothing of batch {number} may be used: {', '.join(blocked)}. A reviewer"
            " decides about that first."
        )
    _in_its_life(batch, at)


def _in_its_life(batch: Batch, at: datetime.datetime) -> None:
    use_by = filling.use_by(batch)
    if use_by < local_day(at):
        raise Refusal(
            f"The life of batch {batch.number} ended on {use_by.day} {use_by:%b %Y}."
            " Take another one."
        )
    weighed = BulkWeighing.objects.current().get(batch=batch).observed_at
    if at < weighed:
        raise Refusal(
            f"Batch {batch.number} was not made yet at that time. Check the date.",
            field="observed_at",
        )


def _product(batch: Batch) -> dosing.Product:
    try:
        return dosing.product_of(batch)
    except dosing.NotKnownError as reason:
        raise Refusal(
            f"The soap content of batch {batch.number} is not known, so no rate can be"
            f" kept: {reason}"
        ) from reason


def _check(row: SprayMix) -> None:
    """Refuse a row that cannot be, and a tank above the highest rate."""
    row.full_clean()
    if row.target_g_per_l > HIGHEST_SPRAY_G_PER_L:
        raise Refusal(
            f"A spray of more than {HIGHEST_SPRAY_G_PER_L} g of soap a litre harms"
            " plants. Check the unit: 1 % is 10 g/l.",
            field="target_g_per_l",
        )
    if row.mass_mg >= row.tank_ul:  # a microlitre counts as a milligram
        raise Refusal(
            "So much product does not leave any room for water. Check the units of the"
            " mass and of the tank.",
            field="mass_mg",
        )
    try:
        rate = rate_of(row).quantize(STEP_OF_RATE)
    except ChemistryError as error:
        raise Refusal(str(error)) from error
    if rate > HIGHEST_SPRAY_G_PER_L:
        raise Refusal(
            f"{format_mass(row.mass_mg)} in this tank is {rate} g of soap a litre, and"
            f" more than {HIGHEST_SPRAY_G_PER_L} harms plants. Do not spray it; check"
            " the mass and the tank.",
            field="mass_mg",
        )


def _newest(mix: SprayMix) -> None:
    if SprayMix.objects.filter(supersedes=mix).exists():
        raise Conflict("This mix was corrected already. Correct the newest row.")
    if mix.is_void:
        raise Conflict("This mix was taken back; record a new one instead.")


def _after(by: User, mix: SprayMix, reason: str) -> SprayMix:
    """Return a new row in the place of a mix, with all that it says."""
    kept = {name: getattr(mix, name) for name in CORRECTABLE}
    return SprayMix(
        code=mix.code,
        source=mix.source,
        portion=mix.portion,
        soap_percent=mix.soap_percent,
        molar_mass=mix.molar_mass,
        observed_at=mix.observed_at,
        entered_by=by,
        supersedes=mix,
        reason=reason,
        **kept,
    )


def _move(by: User, row: SprayMix, more_mg: int) -> None:
    """Draw what was taken besides, or give back what was not; nothing for nought."""
    if not more_mg:
        return
    kind = StockMovement.Kind.OWN_USE if more_mg > 0 else StockMovement.Kind.DRAW_BACK
    ledger.move(
        by=by,
        stock=row.source,
        kind=kind,
        amount_mg=-more_mg,
        observed_at=row.observed_at,
        purpose=row.code,
        reason=row.reason,
    )


def _facts(row: SprayMix) -> dict[str, Any]:
    return {
        "batch": row.source.code,
        "portion": portion_books.code_of(row.portion) if row.portion else "",
        **{
            name: str(value) if isinstance(value, Decimal) else value
            for name, value in ((one, getattr(row, one)) for one in CORRECTABLE)
        },
        "soap_percent": str(row.soap_percent),
        "molar_mass": str(row.molar_mass),
        "observed_at": row.observed_at.isoformat(),
        "is_void": row.is_void,
    }


def _write(
    by: User,
    row: SprayMix,
    act: str,
    former: SprayMix | None,
    submission: uuid.UUID | None,
) -> None:
    journal.write(
        by=by,
        act=act,
        subject=row,
        label=row.code,
        before=_facts(former) if former else {},
        after=_facts(row),
        reason=row.reason,
        submission=submission,
    )
