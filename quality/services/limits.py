"""Limits of a formula version: set as new versions, found for a batch."""

from __future__ import annotations

import uuid
from decimal import Decimal

from django.db import transaction
from django.utils import timezone

from batches.models import Batch, FormulaVersion
from producer import journal
from producer.models import Right, User
from producer.services.checks import need_reason, require
from quality.models import Characteristic, Limit

REQUIRED = {
    "cook": (
        Characteristic.PH,
        Characteristic.CLARITY,
        Characteristic.YIELD_VARIANCE,
    ),
    "dilution": (Characteristic.PH, Characteristic.YIELD_VARIANCE),
    "blend": (Characteristic.PH, Characteristic.YIELD_VARIANCE),
}


@transaction.atomic
def set_limit(
    *,
    by: User,
    formula_version: FormulaVersion,
    characteristic: str,
    reason: str,
    lower: Decimal | None = None,
    upper: Decimal | None = None,
    submission: uuid.UUID | None = None,
) -> Limit:
    """Add a version of a limit; batches opened before it keep theirs.

    The method of a pH limit is the one the formula version prescribes.
    """
    require(by, Right.REVIEWER)
    # Lock the formula version, so that two people do not both make version 2.
    FormulaVersion.objects.select_for_update().get(pk=formula_version.pk)
    former = formula_version.limits.filter(characteristic=characteristic).first()
    limit = Limit(
        formula_version=formula_version,
        characteristic=characteristic,
        version=former.version + 1 if former else 1,
        lower=lower,
        upper=upper,
        method=formula_version.ph_method if characteristic == Characteristic.PH else "",
        reason=need_reason(reason),
        observed_at=timezone.now(),
        entered_by=by,
    )
    limit.full_clean()
    limit.save(force_insert=True)
    journal.write(
        by=by,
        act="limit set",
        subject=limit,
        label=f"{formula_version.formula.name}: {limit.get_characteristic_display()}",
        before=_facts(former) if former else {},
        after=_facts(limit),
        reason=limit.reason,
        submission=submission,
    )
    return limit


def limit_for(batch: Batch, characteristic: str) -> Limit | None:
    """Return the limit that holds for a batch: the newest when it was opened.

    A batch opened before any limit was set is held against the first one.
    """
    limits = list(
        Limit.objects.filter(
            formula_version_id=batch.formula_version_id, characteristic=characteristic
        ).order_by("version")
    )
    known = [limit for limit in limits if limit.entered_at <= batch.entered_at]
    return known[-1] if known else next(iter(limits), None)


def _facts(limit: Limit) -> dict[str, str | int | None]:
    return {
        "version": limit.version,
        "lower": None if limit.lower is None else str(limit.lower),
        "upper": None if limit.upper is None else str(limit.upper),
        "method": limit.method,
    }
