"""Bottles weighed full: what a filling lot holds, against its label."""

from __future__ import annotations

import dataclasses
import datetime
import uuid
from collections.abc import Sequence
from decimal import Decimal

from django.db import transaction
from django.utils import timezone

from batches.chemistry.errors import ChemistryError
from batches.chemistry.net_content import (
    LotCheck,
    bottles_from_mass,
    content_ml,
    fill_limits,
    lot_check,
    scale_is_fit,
)
from batches.chemistry.weighed_bottles import (
    check_net_masses,
    mean_uncertainty_ml,
    said_of_doubt,
    share_of_nominal,
)
from batches.lifecycle import BatchStatus, BottleStatus
from batches.models import Batch, Bottle, FillingLot
from batches.services import density, filling, moves
from batches.services.cooking.plausible import check_in_use
from producer import journal
from producer.errors import Refusal
from producer.models import Instrument, Right, User
from producer.quantities import grams, milligrams
from producer.services.checks import (
    existed_at,
    need_reason,
    not_before,
    plausible_time,
    require,
)
from quality.models import Characteristic, FillCheck
from quality.services import weighings
from quality.services.judgement import Finding
from quality.services.judgement import judged as held_against
from quality.services.limits import facts_of, limit_for

MICROLITRES = 1000  # in a millilitre
# Bottles that are easily bought: common practice, no source.
USUAL_SIZES_ML = (100, 250, 500, 750, 1000)
# How the reason of a bottle begins that a weighing put on hold.
HELD_WORDS = "Mean content of"
MUST_STAY = (
    " These bottles must not leave: those still here are on hold until a weighing lies"
    " inside the limit and a reviewer frees them."
)


@transaction.atomic
def record_fill_check(
    *,
    by: User,
    filling_lot: FillingLot,
    scale: Instrument,
    tare_mg: int,
    net_mg: Sequence[int],
    opened: bool = False,
    numbers: Sequence[int] = (),
    since: str = "",
    note: str = "",
    observed_at: datetime.datetime | None = None,
    submission: uuid.UUID | None = None,
) -> FillCheck:
    """Record the net masses of weighed bottles and the verdict about their lot.

    ``net_mg`` are whole milligrams, a bottle each; ``tare_mg`` is the empty bottle
    with its cap. ``opened`` says that they were emptied for it; ``numbers`` are those
    of the bottles, which are destroyed in the same act. A lot that is not accepted is
    recorded as well: every result stays, and the next weighing needs ``since``, what
    was done in between. Where the formula version has a limit of the mean content that
    holds, and the mean lies outside, the bottles that are still here are put on hold
    in the same act.
    """
    require(by, Right.MAKER)
    journal.in_line()
    observed_at = not_before(
        plausible_time(observed_at or timezone.now()),
        existed_at(filling_lot),
        was="These bottles were filled",
        what="a weighing of them",
    )
    if scale.kind != Instrument.Kind.SCALE:
        raise Refusal(f"{scale.name} is not a scale.", field="scale")
    check_in_use(scale, field="scale")
    since = weighings.need_since(filling_lot, since)
    emptied = weighings.emptied(
        by=by,
        filling_lot=filling_lot,
        opened=opened,
        numbers=numbers,
        weighed=len(net_mg),
    )
    try:
        _is_fit(filling_lot, scale)
        here = weighings.some_here(filling_lot)
        _can_be_weighed(scale, tare_mg, net_mg)
        check = judged(filling_lot, net_mg, opened=opened)
        sentence = f"{check.sentence} {_doubt(check, filling_lot, scale)}"
        finding = _held_to_limit(check, filling_lot, scale)
    except ChemistryError as error:
        gone = weighings.said_of_gone(filling_lot)
        raise Refusal(f"{error}{gone}", field="masses") from error
    sentence += weighings.said_besides(emptied, since)
    filling.change_bottles(
        by=by,
        bottles=emptied,
        new=BottleStatus.DESTROYED,
        reason=f"opened and emptied to weigh bottles of {filling_lot.code}",
    )
    held: dict[str, int] = {}
    if finding is not None:
        sentence = f"{sentence} {finding.sentence} {finding.plain}"
    if finding is not None and finding.stops:
        sentence += MUST_STAY
        held = {"bottles_held": _hold(by, filling_lot)}
    row = FillCheck(
        filling_lot=filling_lot,
        scale=scale,
        tare_mg=tare_mg,
        net_mg=list(net_mg),
        accepted=check.accepted,
        sentence=sentence,
        limit=finding.limit if finding else None,
        verdict=(finding.verdict or "") if finding else "",
        note=note.strip(),
        facts=weighings.facts_of(here, emptied, since),
        observed_at=observed_at,
        entered_by=by,
    )
    row.full_clean()
    row.save(force_insert=True)
    journal.write(
        by=by,
        act="net content checked",
        subject=row,
        label=filling_lot.code,
        after={
            "scale": scale.name,
            "tare_mg": tare_mg,
            "net_mg": list(net_mg),
            "accepted": check.accepted,
            "sentence": sentence,
            "note": row.note,
            **(row.facts or {}),
            "bottles_destroyed": [bottle.code for bottle in emptied],
            **_judgement(finding),
            **held,
        },
        submission=submission,
    )
    return row


@transaction.atomic
def free_bottles(
    *,
    by: User,
    filling_lot: FillingLot,
    reason: str,
    submission: uuid.UUID | None = None,
) -> int:
    """Lift the hold that a weighing put on bottles; return how many are free again.

    After a newer weighing whose mean lies inside the limit, and while the batch is
    released.
    """
    require(by, Right.REVIEWER)
    journal.in_line()
    reason = need_reason(reason)
    batch = moves.locked(filling_lot.batch)
    if batch.status != BatchStatus.RELEASED:
        raise Refusal(
            f"Batch {batch.number} is {BatchStatus(batch.status).label}, so its bottles"
            " stay where they are."
        )
    if newest_stops(filling_lot):
        raise Refusal(
            "The newest weighing of these bottles lies outside the limit. Top them up,"
            " weigh them again, and come back."
        )
    held = held_by_weighing(filling_lot)
    if not held:
        raise Refusal("No weighing holds a bottle of this lot.")
    freed = filling.change_bottles(
        by=by, bottles=held, new=BottleStatus.FILLED, reason=reason
    )
    journal.write(
        by=by,
        act="bottles freed after weighing",
        subject=filling_lot,
        label=filling_lot.code,
        after={"bottles_freed": freed},
        reason=reason,
        submission=submission,
    )
    return freed


def hold_again(*, by: User, batch: Batch) -> int:
    """Hold the bottles of a batch that a weighing forbids to leave; return how many.

    For an act that frees all bottles of a batch. Callers write the journal.
    """
    return sum(
        _hold(by, filling_lot)
        for filling_lot in FillingLot.objects.filter(batch=batch)
        if newest_stops(filling_lot)
    )


def newest_stops(filling_lot: FillingLot) -> bool:
    """Say whether the newest weighing of a lot forbids its bottles to leave."""
    return weighings.stops(weighings.newest_check(filling_lot))


def held_words(filling_lot: FillingLot) -> str:
    """Return the reason that a bottle keeps which a weighing holds."""
    return f"{HELD_WORDS} {filling_lot.code} lies outside its limit"


def held_by_weighing(filling_lot: FillingLot) -> list[Bottle]:
    """Return the bottles of a lot whose hold is that of a weighing."""
    on_hold = filling_lot.bottles.filter(status=BottleStatus.ON_HOLD)
    rows = on_hold.order_by("number").prefetch_related("events")
    found = []
    for bottle in rows:
        # One that was only put on another shelf is on hold for what it was before.
        moves = (event for event in bottle.events.all() if event.old != event.new)
        if max(moves, key=lambda event: event.pk).reason.startswith(HELD_WORDS):
            found.append(bottle)
    return found


def judged(
    filling_lot: FillingLot, net_mg: Sequence[int], *, opened: bool = False
) -> LotCheck:
    """Return what net masses say about their lot; raises :class:`ChemistryError`.

    The lot are the bottles that are here.
    """
    nominal, density = nominal_ml(filling_lot), filling_lot.density
    nets = [grams(net) for net in net_mg]
    check_net_masses(nominal, density, nets)
    return lot_check(
        nominal,
        [content_ml(net, density) for net in nets],
        lot_size=weighings.here_to_weigh(filling_lot),
        destructive=opened,
    )


@dataclasses.dataclass(frozen=True, kw_only=True)
class Bottles:
    """How many bottles of a size a mass gives, and what is left over."""

    nominal_ul: int
    count: int
    rest_mg: int


def density_of(batch: Batch) -> tuple[Decimal, str]:
    """Return the density to reckon with in g/ml, and where it is from.

    See :mod:`batches.services.density`.
    """
    return density.density_of(batch)


def bottles_of(mass_mg: int, density: Decimal) -> list[Bottles]:
    """Return how many bottles of each usual size a mass gives; at least one."""
    rows = []
    for size in USUAL_SIZES_ML:
        count, rest = bottles_from_mass(grams(mass_mg), Decimal(size), density)
        if count:
            rows.append(
                Bottles(
                    nominal_ul=size * MICROLITRES,
                    count=count,
                    rest_mg=milligrams(rest),
                )
            )
    return rows


def nominal_ml(filling_lot: FillingLot) -> Decimal:
    """Return the nominal quantity of a bottle in millilitres."""
    return Decimal(filling_lot.nominal_ul) / MICROLITRES


def net_uncertainty_g(scale: Instrument) -> Decimal:
    """Return U, k = 2, in grams of gross less tare, two readings of one scale.

    Two roundings of the display together are triangular with the step as half width
    (JCGM 100:2008, 4.3.9); the ± of the scale is taken whole, once: an offset cancels
    in the difference, a display that is not straight does not.
    """
    step, bias = scale.resolution**2 / 6, scale.bias_half_width**2 / 3
    return 2 * (step + bias).sqrt()


def _doubt(check: LotCheck, filling_lot: FillingLot, scale: Instrument) -> str:
    uncertainty = _mean_uncertainty(check, filling_lot, scale)
    return said_of_doubt(check, filling_lot.density, uncertainty)


def _mean_uncertainty(
    check: LotCheck, filling_lot: FillingLot, scale: Instrument
) -> Decimal:
    return mean_uncertainty_ml(
        check.mean_ml,
        filling_lot.density,
        count=check.weighed,
        step_g=scale.resolution,
        half_width_g=scale.bias_half_width,
    )


def _held_to_limit(
    check: LotCheck, filling_lot: FillingLot, scale: Instrument
) -> Finding | None:
    """Return the mean content held against the limit of the formula, if it has one."""
    limit = limit_for(filling_lot.batch, Characteristic.NET_CONTENT)
    if limit is None:
        return None
    percent, u = share_of_nominal(
        check,
        lot_size=weighings.here_to_weigh(filling_lot),
        uncertainty_ml=_mean_uncertainty(check, filling_lot, scale),
    )
    return held_against(
        Characteristic.NET_CONTENT,
        limit,
        percent,
        u,
        by="of the nominal content",
        better="weigh on a finer scale, with a density you measured well",
    )


def _hold(by: User, filling_lot: FillingLot) -> int:
    reason = held_words(filling_lot)
    return filling.hold_lot_here(by=by, filling_lot=filling_lot, reason=reason)


def _judgement(finding: Finding | None) -> dict[str, object]:
    if finding is None or finding.limit is None:
        return {}
    return {"limit": facts_of(finding.limit), "verdict": str(finding.verdict)}


def _can_be_weighed(scale: Instrument, tare_mg: int, net_mg: Sequence[int]) -> None:
    """Refuse a full bottle that is heavier than the scale can carry."""
    if scale.capacity is None:
        return
    for number, net in enumerate(net_mg, start=1):
        gross_g = grams(tare_mg + net)
        if gross_g > scale.capacity:
            raise Refusal(
                f"Mass {number}: {scale.name} carries up to"
                f" {scale.capacity.normalize():f} g, and this bottle with its contents"
                f" would be {gross_g.normalize():f} g. Check the decimal point and the"
                " unit.",
                field="masses",
            )


def _is_fit(filling_lot: FillingLot, scale: Instrument) -> None:
    nominal, density = nominal_ml(filling_lot), filling_lot.density
    if not scale_is_fit(nominal, density, net_uncertainty_g(scale)):
        allowed = fill_limits(nominal).measuring_error * density
        raise Refusal(
            f"With {scale.name} a net mass is known to ± {net_uncertainty_g(scale):.2f}"
            f" g. To judge this size it takes ± {allowed:.2f} g or better, a fifth of"
            " the error allowed. Take a finer scale.",
            field="scale",
        )
