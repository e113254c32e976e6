"""Limits of a formula version or a material: set as versions, found for a batch."""

from __future__ import annotations

import uuid
from collections.abc import Iterable
from decimal import Decimal
from typing import Final

from django.db import transaction
from django.utils import timezone

from batches.models import Batch, FormulaVersion
from producer import journal
from producer.errors import Refusal
from producer.models import Material, Right, User
from producer.services.checks import need_reason, require
from quality.models import Characteristic, Limit
from quality.services import limit_sense
from quality.statistics.conformity import RULE

REQUIRED: Final = {
    "cook": (
        Characteristic.PH,
        Characteristic.CLARITY,
        Characteristic.YIELD_VARIANCE,
    ),
    "dilution": (Characteristic.PH, Characteristic.YIELD_VARIANCE),
    "blend": (Characteristic.PH, Characteristic.YIELD_VARIANCE),
}
# What the certificate of a material can state.
OF_MATERIAL: Final = {
    Material.Kind.POTASH: Characteristic.ASSAY,
    Material.Kind.OIL: Characteristic.SAPONIFICATION_VALUE,
}


@transaction.atomic
def set_limit(
    *,
    by: User,
    characteristic: str,
    reason: str,
    formula_version: FormulaVersion | None = None,
    material: Material | None = None,
    lower: Decimal | None = None,
    upper: Decimal | None = None,
    method: str = "",
    rule: str = RULE.slug,
    effect: str = Limit.Effect.HOLD,
    submission: uuid.UUID | None = None,
) -> Limit:
    """Add a version of a limit; batches opened before it keep theirs.

    Of a formula version or of a material, one of the two. ``rule`` is the slug of a
    decision rule and ``effect`` says what a value outside does. The method of a pH
    limit is the one the formula version prescribes; another one is refused. Who sets
    it approves it.
    """
    require(by, Right.REVIEWER)
    _makes_sense(characteristic, material, upper)
    former = _former(formula_version, material, characteristic)
    if characteristic == Characteristic.PH and formula_version is not None:
        method = _method_of_ph(formula_version, method)
    limit = Limit(
        formula_version=formula_version,
        material=material,
        characteristic=characteristic,
        version=former.version + 1 if former else 1,
        lower=lower,
        upper=upper,
        method=method.strip(),
        rule=rule,
        effect=effect,
        reason=need_reason(reason),
        observed_at=timezone.now(),
        entered_by=by,
    )
    limit.full_clean()
    limit_sense.check(limit)
    limit.save(force_insert=True)
    owner = formula_version.formula if formula_version else material
    journal.write(
        by=by,
        act="limit set",
        subject=limit,
        label=f"{owner}: {limit.get_characteristic_display()}",
        before=facts_of(former) if former else {},
        after=facts_of(limit),
        reason=limit.reason,
        submission=submission,
    )
    return limit


def limits_of(batch: Batch) -> dict[str, Limit]:
    """Return the limits that hold for a batch, by characteristic.

    Of each the newest when the batch was opened. What its kind of batch needs is held
    against the first limit where none was set by then; nothing else is.
    """
    rows = Limit.objects.filter(formula_version_id=batch.formula_version_id)
    found: dict[str, Limit] = {}
    for limit in rows.select_related("entered_by").order_by("version"):
        in_time = limit.entered_at <= batch.entered_at
        is_first = limit.characteristic not in found
        if in_time or (is_first and limit.characteristic in REQUIRED[batch.kind]):
            found[limit.characteristic] = limit
    return found


def missing_of(version: FormulaVersion) -> list[Characteristic]:
    """Return what a batch of this version needs a limit for and has none."""
    return next((lacks for _, lacks in missing_by_version([version])), [])


def missing_by_version(
    versions: Iterable[FormulaVersion],
) -> list[tuple[FormulaVersion, list[Characteristic]]]:
    """Return those versions that lack limits which a release needs, with which."""
    versions = list(versions)
    rows = Limit.objects.filter(formula_version__in=versions).order_by()
    has = set(rows.values_list("formula_version", "characteristic").distinct())
    needed = [
        (
            version,
            [
                one
                for one in REQUIRED[version.formula.kind]
                if (version.pk, one.value) not in has
            ],
        )
        for version in versions
    ]
    return [(version, lacks) for version, lacks in needed if lacks]


def limit_for(batch: Batch, characteristic: str) -> Limit | None:
    """Return the limit that holds for a batch, see :func:`limits_of`, or None."""
    return limits_of(batch).get(characteristic)


def limits_of_material(material: Material) -> list[Limit]:
    """Return the newest limit of each characteristic of a material.

    A decision about a raw lot is held against what is in force when it is taken.
    """
    newest: dict[str, Limit] = {}
    for limit in Limit.objects.filter(material=material).order_by("version"):
        newest[limit.characteristic] = limit
    return [newest[name] for name in sorted(newest)]


def possible(
    formula_version: FormulaVersion | None = None, material: Material | None = None
) -> list[Characteristic]:
    """Return of which characteristics a limit can be set; none for water and acids."""
    if material is not None:
        one = OF_MATERIAL.get(Material.Kind(material.kind))
        return [] if one is None else [one]
    of_materials = set(OF_MATERIAL.values())
    return [] if formula_version is None else _without(of_materials)


def facts_of(limit: Limit) -> dict[str, str | int | None]:
    """Return a limit as plain JSON values, as the journal keeps it."""
    return {
        "version": limit.version,
        "lower": None if limit.lower is None else str(limit.lower),
        "upper": None if limit.upper is None else str(limit.upper),
        "method": limit.method,
        "rule": limit.rule,
        "effect": limit.effect,
    }


def _without(left_out: Iterable[Characteristic]) -> list[Characteristic]:
    return [one for one in Characteristic if one not in left_out]


def _former(
    formula_version: FormulaVersion | None, material: Material | None, name: str
) -> Limit | None:
    """Return the newest version so far.

    Locks what the limit is of, so that two people do not both make version 2.
    """
    owner = formula_version or material
    if owner is None or (formula_version and material):
        raise Refusal("A limit is of a formula version or of a material.")
    type(owner)._default_manager.select_for_update().get(pk=owner.pk)
    return owner.limits.filter(characteristic=name).order_by("-version").first()


def _method_of_ph(version: FormulaVersion, method: str) -> str:
    """Return the method of the formula; refuse another one rather than drop it."""
    if method.strip() not in {"", version.ph_method}:
        raise Refusal(
            f"pH is taken as the formula says: {version.ph_method}. Leave the method"
            " empty here, or write a new version of the formula.",
            field="method",
        )
    return version.ph_method


def _makes_sense(
    characteristic: str, material: Material | None, upper: Decimal | None
) -> None:
    if material is not None and characteristic not in possible(material=material):
        raise Refusal(
            f"{material} has no such figure: potash has an assay, oils and fats have a"
            " saponification value.",
            field="characteristic",
        )
    if characteristic == Characteristic.FREE_ALKALI and upper is None:
        raise Refusal(
            "Free alkali needs an upper limit: it takes the place of the one of the"
            " premises.",
            field="upper",
        )
