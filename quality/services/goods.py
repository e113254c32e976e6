"""Raw lots held against the limits of their material, and the decision about them."""

from __future__ import annotations

import datetime
import uuid
from collections.abc import Mapping
from decimal import Decimal
from typing import Any, Final

from django.db import transaction

from batches.chemistry.constants import PERCENT
from batches.models import Titration
from batches.services import figures
from producer import journal
from producer.errors import Refusal
from producer.models import RawLot, Record, Right, User
from producer.services import intake
from producer.services.checks import require
from quality.models import Characteristic, Limit
from quality.services import deviations
from quality.services.judgement import (
    Finding,
    hand_of,
    judged,
    missing,
    plus_minus,
    zone_here,
)
from quality.services.limits import facts_of, limits_of_material

KINDS: Final = {
    Characteristic.ASSAY: Titration.Kind.POTASH,
    Characteristic.SAPONIFICATION_VALUE: Titration.Kind.SAPONIFICATION_VALUE,
}
WHAT_NOW = (
    "Reject the lot, or titrate it yourself: that counts from then on. Where the limit"
    " is the wrong one, a reviewer sets another, with the reason."
)
# Where the value is from in words, and what would be surer.
BY_CERTIFICATE: Final = ("by its certificate", "titrate it yourself")
BY_TITRATION: Final = ("by your titration", "titrate more samples")


@transaction.atomic
def decide_lot(
    *,
    by: User,
    lot: RawLot,
    new: str,
    reason: str,
    submission: uuid.UUID | None = None,
) -> RawLot:
    """Release, reject or hold a lot, or lift its hold; a release holds it to limits.

    Where a limit of its material says hold, a value outside it or lacking refuses the
    release; so does a deviation of the lot that is open or says “to be rejected”. A
    limit that only warns is told in the journal beside the decision.
    """
    require(by, Right.REVIEWER)
    journal.in_line()
    # As the certificate does, so that no new version slips in after the judgement.
    RawLot.objects.select_for_update(of=("self",)).get(pk=lot.pk)
    may_move = (lot.status, new) in intake.LOT_MOVES
    is_release = may_move and new == RawLot.Status.RELEASED
    found = findings_of(lot) if is_release else []
    in_the_way = [finding.sentence for finding in found if finding.stops]
    if is_release:
        in_the_way += deviations.in_the_way(deviations.of_stocks([lot.pk]))
    if any(finding.stops and finding.verdict is not None for finding in found):
        in_the_way.append(WHAT_NOW)
    if in_the_way:
        raise Refusal(f"{lot.code} cannot be released. {' '.join(in_the_way)}")
    return intake.decide_lot(
        by=by,
        lot=lot,
        new=new,
        reason=reason,
        judged={"judgements": [_facts(one) for one in found]} if found else None,
        submission=submission,
    )


def findings_of(lot: RawLot) -> list[Finding]:
    """Return a finding for each limit of the material of a lot, as it is known today.

    By the certificate or the own titration, whichever the alkali charge would be
    computed with. An assay is that of potassium hydroxide that can react: what a
    certificate counts otherwise is reckoned off.
    """
    return [_finding(lot, limit) for limit in limits_of_material(lot.material)]


def warnings(lot: RawLot) -> str:
    """Return what a limit that only warns says of a lot, as sentences, or nothing."""
    return " ".join(one.sentence for one in findings_of(lot) if one.warns)


def _finding(lot: RawLot, limit: Limit) -> Finding:
    characteristic = Characteristic(limit.characteristic)
    is_assay = characteristic == Characteristic.ASSAY
    try:
        figure = (
            figures.potash_fraction(lot)
            if is_assay
            else figures.saponification_value(lot)
        )
    except Refusal as refusal:
        return missing(characteristic, limit, refusal.message)
    if figure.origin.startswith(figures.RANGE_WORDS):
        return missing(
            characteristic,
            limit,
            f"No certificate or own titration says more of {lot.code} than the"
            " published range. Record its certificate, or titrate it.",
        )
    per = PERCENT if is_assay else Decimal(1)
    u = figure.standard_uncertainty * per
    is_own = figure.certificate is None
    by, better = BY_TITRATION if is_own else BY_CERTIFICATE
    row = figure.certificate or figures.newest_titration(lot, KINDS[characteristic])
    return judged(
        characteristic,
        limit,
        figure.value * per,
        u,
        origin=_origin(figure.origin, u, " %" if is_assay else " mg KOH/g", row),
        by=by,
        better=better,
    )


def _origin(words: str, u: Decimal, unit: str, row: Record | None) -> str:
    zone: datetime.tzinfo = zone_here()
    hand = f" Entered by {hand_of(row, zone)}." if row else ""
    return f"{words[:1].upper()}{words[1:]}, {plus_minus(u, unit)}.{hand}"


def _facts(finding: Finding) -> Mapping[str, Any]:
    """Return a judgement as plain JSON values, with the limit it was held against."""
    limit, risk = finding.limit, finding.risk
    return {
        "characteristic": str(finding.characteristic),
        "limit": facts_of(limit) if limit else None,
        "value": None if finding.value is None else str(finding.value),
        "standard_uncertainty": None
        if finding.standard_uncertainty is None
        else str(finding.standard_uncertainty),
        "verdict": str(finding.verdict) if finding.verdict else None,
        "risk": None if risk is None else f"{risk:.6f}",
        "sentence": finding.sentence,
        "origin": finding.origin,
    }
