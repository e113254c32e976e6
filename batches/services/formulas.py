"""Write formulas: a first version, then new versions; none is ever changed."""

from __future__ import annotations

import dataclasses
import datetime
import uuid
from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from django.db import models, transaction
from django.utils import timezone

from batches.models import Formula, FormulaLine, FormulaVersion
from producer import journal
from producer.errors import Refusal
from producer.models import Material, Right, User
from producer.quantities import format_mass
from producer.services.checks import local_day, need_reason, require

PER_KG = 1_000_000
# Rules that were checked longer before they were written down are a slip of the year,
# or should be checked again. Our choice, no source.
OLDEST_CHECK = datetime.timedelta(days=10 * 366)


@dataclasses.dataclass(frozen=True, kw_only=True)
class Line:
    """An ingredient: a material or what another formula makes, per kilogram of basis.

    ``per_kg_mg`` is None for potash alone.
    """

    material: Material | None = None
    source_formula: Formula | None = None
    per_kg_mg: int | None = None


@dataclasses.dataclass(frozen=True, kw_only=True)
class Wording:
    """What a version says besides its ingredients."""

    product_name: str
    shelf_life_days: int
    directions: str = ""
    cautions: str = ""
    ph_method: str = "1 % solution in distilled water at 25 °C"
    temperature_limit: Decimal = Decimal(70)
    soap_content_target: Decimal | None = None
    authority_reference: str = ""
    authority_checked_on: datetime.date | None = None


@transaction.atomic
def write_formula(
    *,
    by: User,
    name: str,
    kind: str,
    purpose: str,
    wording: Wording,
    lines: Sequence[Line],
    submission: uuid.UUID | None = None,
) -> FormulaVersion:
    """Write a new formula with its first version."""
    require(by, Right.MAKER)
    formula = Formula(name=name.strip(), kind=kind, purpose=purpose)
    formula.full_clean()
    formula.save()
    version = _version(by, formula, 1, wording, lines, "")
    _write(by, version, "formula written", {}, submission)
    return version


@transaction.atomic
def write_version(
    *,
    by: User,
    formula: Formula,
    wording: Wording,
    lines: Sequence[Line],
    reason: str,
    submission: uuid.UUID | None = None,
) -> FormulaVersion:
    """Write a new version; batches already open keep the one they began with.

    Limits are not carried over: a changed product is thought about anew.
    """
    require(by, Right.MAKER)
    reason = need_reason(reason)
    # Lock the formula, so that two people do not both write version 2.
    Formula.objects.select_for_update().get(pk=formula.pk)
    former = newest_version(formula)
    version = _version(by, formula, former.version + 1, wording, lines, reason)
    _write(by, version, "formula version written", _facts(former), submission)
    return version


def newest_version(formula: Formula) -> FormulaVersion:
    """Return the version that new batches are opened from."""
    return formula.versions.order_by("-version")[0]


def newest_versions() -> models.QuerySet[FormulaVersion]:
    """Return of each formula the version that new batches are opened from."""
    newest = FormulaVersion.objects.filter(formula=models.OuterRef("formula"))
    return (
        FormulaVersion.objects.filter(
            pk=models.Subquery(newest.order_by("-version").values("pk")[:1])
        )
        .select_related("formula")
        .order_by("formula__name")
    )


def number_refused(
    reference: str, checked_on: datetime.date | None, *, written_at: datetime.datetime
) -> Refusal | None:
    """Return why an authority's number, or the day it was checked, cannot be that.

    None where nothing is wrong with it, also where there is none. ``written_at`` is
    when it was written down. Whether it is a number of the authority nobody can see
    here; a mark that stands for “not known” is none.
    """
    if reference and not any(sign.isalnum() for sign in reference):
        return Refusal(
            f"“{reference}” is no number. Write the number as your authority gave it,"
            " or leave this empty: a spray without one is for own use only.",
            field="authority_reference",
        )
    if checked_on is None:
        return None
    written_on = local_day(written_at)
    if checked_on > written_on:
        return Refusal(
            f"{_day(checked_on)} was still to come when this was written down. Write"
            " the day on which you last checked the rules.",
            field="authority_checked_on",
        )
    if checked_on < written_on - OLDEST_CHECK:
        return Refusal(
            f"{_day(checked_on)} is more than ten years before this was written down."
            " Check the rules again, and write the day on which you did.",
            field="authority_checked_on",
        )
    return None


def _day(day: datetime.date) -> str:
    return f"{day.day} {day:%b %Y}"


def _version(
    by: User,
    formula: Formula,
    number: int,
    wording: Wording,
    lines: Sequence[Line],
    reason: str,
) -> FormulaVersion:
    _CHECKS[Formula.Kind(formula.kind)](lines)
    _check_target(formula, wording, lines)
    now = timezone.now()
    reference = wording.authority_reference.strip()
    refused = number_refused(reference, wording.authority_checked_on, written_at=now)
    if refused is not None:
        raise refused
    wording = dataclasses.replace(wording, authority_reference=reference)
    version = FormulaVersion(
        formula=formula,
        version=number,
        reason=reason,
        observed_at=now,
        entered_by=by,
        **dataclasses.asdict(wording),
    )
    version.full_clean()
    version.save(force_insert=True)
    for position, line in enumerate(lines, start=1):
        row = FormulaLine(
            version=version,
            position=position,
            material=line.material,
            source_formula=line.source_formula,
            per_kg_mg=line.per_kg_mg,
        )
        row.full_clean()
        row.save(force_insert=True)
    return version


def _check_cook(lines: Sequence[Line]) -> None:
    potash = [line for line in lines if _is(line, Material.Kind.POTASH)]
    oils = [line for line in lines if _is(line, Material.Kind.OIL)]
    if len(potash) != 1 or potash[0].per_kg_mg is not None:
        raise Refusal(
            "A cook needs one line for potash, without an amount: the amount is"
            " computed from the very lots."
        )
    if not any(_is(line, Material.Kind.WATER) for line in lines):
        raise Refusal("A cook needs water to dissolve the potash in.")
    if any(line.source_formula for line in lines):
        raise Refusal("A cook is made from materials. Use a blend or dilution instead.")
    _amounts([line for line in lines if line is not potash[0]])
    total = sum(line.per_kg_mg or 0 for line in oils)
    if total != PER_KG:
        raise Refusal(
            f"The oils must add up to 1 kg; they add up to {format_mass(total)}."
        )


def _check_dilution(lines: Sequence[Line]) -> None:
    sources = [line for line in lines if line.source_formula]
    if len(sources) != 1 or sources[0].per_kg_mg != PER_KG:
        raise Refusal(
            "A dilution has one line for the paste, with 1 kg: the other amounts are"
            " per kilogram of it."
        )
    if not any(_is(line, Material.Kind.WATER) for line in lines):
        raise Refusal("A dilution needs water.")
    if any(_is(line, Material.Kind.POTASH) for line in lines):
        raise Refusal("Potash belongs in a cook, never in a dilution.")
    _amounts(lines)


def _check_target(formula: Formula, wording: Wording, lines: Sequence[Line]) -> None:
    """Refuse a soap content to dilute to where no water can be computed for it."""
    if wording.soap_content_target is None:
        return
    if formula.kind != Formula.Kind.DILUTION:
        raise Refusal(
            "Only a dilution has a soap content to dilute to. Leave it empty.",
            field="soap_content_target",
        )
    if sum(_is(line, Material.Kind.WATER) for line in lines) != 1:
        raise Refusal(
            "With a soap content to dilute to there is one line for water: the one"
            " whose amount is computed.",
            field="soap_content_target",
        )


def _check_blend(lines: Sequence[Line]) -> None:
    if any(line.source_formula is None for line in lines) or not lines:
        raise Refusal("A blend takes only what other formulas make.")
    _amounts(lines)


_CHECKS = {
    Formula.Kind.COOK: _check_cook,
    Formula.Kind.DILUTION: _check_dilution,
    Formula.Kind.BLEND: _check_blend,
}


def _is(line: Line, kind: str) -> bool:
    return line.material is not None and line.material.kind == kind


def _amounts(lines: Sequence[Line]) -> None:
    if any(not line.per_kg_mg for line in lines):
        raise Refusal("Every line but potash needs an amount per kilogram.")


def _facts(version: FormulaVersion) -> dict[str, Any]:
    return {
        "version": version.version,
        "product_name": version.product_name,
        "directions": version.directions,
        "cautions": version.cautions,
        "shelf_life_days": version.shelf_life_days,
        "ph_method": version.ph_method,
        "temperature_limit": str(version.temperature_limit),
        "soap_content_target": (
            None
            if version.soap_content_target is None
            else str(version.soap_content_target)
        ),
        "authority_reference": version.authority_reference,
        "lines": [
            {
                "ingredient": str(line.material or line.source_formula),
                "per_kg_mg": line.per_kg_mg,
            }
            for line in version.lines.select_related("material", "source_formula")
        ],
    }


def _write(
    by: User,
    version: FormulaVersion,
    act: str,
    before: dict[str, Any],
    submission: uuid.UUID | None,
) -> None:
    journal.write(
        by=by,
        act=act,
        subject=version,
        label=f"{version.formula.name}, version {version.version}",
        before=before,
        after=_facts(version),
        reason=version.reason,
        submission=submission,
    )
