"""Charges: weighed in, corrected, taken back; the stock follows."""

from __future__ import annotations

import dataclasses
import datetime
import uuid
from decimal import Decimal
from typing import Any

from django.db import transaction

from batches.lifecycle import CLOSED_TO_CHARGES, BatchStatus
from batches.models import Batch, Charge, FormulaLine, Portion
from batches.services import (
    half_weighings,
    hold_points,
    moves,
    planning,
    portion_books,
    potash_gain,
    proposing,
    sources,
    transcribing,
)
from batches.services.closed import Also, act_and_facts, may_amend
from batches.services.cooking import another_lot, drawing
from batches.services.cooking.guards import (
    its_own_line,
    oils_first,
    still_takes_charges,
)
from batches.services.cooking.how import PLAIN, How
from batches.services.cooking.plausible import (
    check_correction,
    check_tare,
    check_target,
)
from batches.services.cooking.refused import leaves_a_trace
from batches.services.cooking.rows import newest, weighed, weighing_facts, write
from producer.errors import Refusal
from producer.models import Container, Instrument, Right, Stock, User
from producer.services.checks import local_day, need_reason, require


@leaves_a_trace
@transaction.atomic
def charge(
    *,
    by: User,
    batch: Batch,
    line: FormulaLine | None,
    source: Stock,
    scale: Instrument,
    gross_mg: int,
    tare_mg: int,
    how: How = PLAIN,
    observed_at: datetime.datetime | None = None,
    unusual: str = "",
    submission: uuid.UUID | None = None,
) -> Charge:
    """Record a weighed addition and draw it from its stock, both or neither.

    ``unusual`` is the reason for a mass far from what the formula asks for, or for a
    scale that was not checked for this batch; without one both are refused.

    ``line`` is the line of the formula it serves; None only for a rejected batch
    going into its rework. Potash comes last: it is refused until every oil has been
    weighed, because its amount follows from them; and until what was opened before was
    weighed. Nothing is weighed in before the hold points were gone through, nor while
    one of them is not in order.

    ``how`` says from which container and in which vessel, by difference or not, and
    why a lot that expires earlier is passed over: without that such a lot is taken
    first. A charge that finishes a half weighing keeps what was stored of it.
    """
    require(by, Right.MAKER)
    batch = still_takes_charges(batch)
    observed_at = transcribing.observed(batch, observed_at, how.transcription)
    hold_points.stop_unless_passed(batch, observed_at, transcription=how.transcription)
    its_own_line(batch, line)
    how = half_weighings.finishing(
        how,
        batch=batch,
        line=line,
        source=source,
        scale=scale,
        first_mg=gross_mg if how.start and how.start.by_difference else tare_mg,
    )
    on = transcribing.judged_on(observed_at, how.transcription)
    sources.check_source(
        batch=batch,
        line=line,
        source=source,
        on=on,
        observed_on=local_day(observed_at),
    )
    oils_first(batch, line, unusual=unusual)
    row = weighed(
        with_figure(Charge(batch=batch, line=line, source=source, entered_by=by)),
        scale=scale,
        gross_mg=gross_mg,
        tare_mg=tare_mg,
        observed_at=observed_at,
        how=from_where(source, how, net_mg=gross_mg - tare_mg),
    )
    potash_gain.stop_unless_weighed(row, before_mg=gross_mg)
    row.reason = unusual.strip()
    if not row.reason:
        hold_points.stop_unless_checked(batch, scale)
        check_tare(row)
        check_target(batch, row)
    _in_turn(row, on)
    drawing.put_in(by, row)
    if batch.status == BatchStatus.PLANNED:
        moves.move_batch(
            by=by, batch=batch, new=BatchStatus.IN_PROCESS, observed_at=observed_at
        )
    write(by, batch, "charge weighed", after=charge_facts(row), submission=submission)
    return row


@leaves_a_trace
@transaction.atomic
def amend_charge(
    *,
    by: User,
    charge: Charge,
    reason: str,
    gross_mg: int = 0,
    tare_mg: int = 0,
    source: Stock | None = None,
    container: Container | None = None,
    certain: bool = False,
    void: bool = False,
    observed_at: datetime.datetime | None = None,
    also: Also | None = None,
    submission: uuid.UUID | None = None,
) -> Charge:
    """Correct a charge by a new row: other masses, another lot, or taken back.

    The stock follows: what the old row drew goes back, what the new row says is
    drawn. Both rows stay legible. It is held to what a new row is held to: the scale
    must carry it, a new lot must fit, a correction stays small. Only a mass far from
    the formula needs no second reason. How it was weighed stays as it was, but for the
    ``container`` if another one is named, or the lot is another.

    Another raw lot is taken with the figure that was known of it when this was weighed
    in. What forbids to draw from it now, or would have then, is refused, unless
    somebody says that it was that lot for ``certain``: what its book lacks is added to
    it, see :mod:`.another_lot`.

    ``also`` lets a signed batch be corrected; only quality's change after signature
    passes it, see :mod:`batches.services.closed`.
    """
    batch = may_amend(by=by, batch=charge.batch, also=also)
    newest(charge, Charge.objects.all())
    reason = need_reason(reason)
    new_source = charge.source if void else source or charge.source
    if also is None:
        _not_taken_back_too_late(batch, void=void)
    if new_source.pk != charge.source_id:
        _may_be_of(
            new_source,
            instead=charge,
            observed_at=observed_at or charge.observed_at,
            is_signed=also is not None,
        )
    row = Charge(
        batch=batch,
        line=charge.line,
        source=new_source,
        entered_by=by,
        supersedes=charge,
        reason=reason,
        is_void=void,
    )
    _figure_now(charge, row)
    weighed(
        row,
        scale=charge.scale,
        gross_mg=0 if void else gross_mg,
        tare_mg=0 if void else tare_mg,
        observed_at=(
            transcribing.not_before_it_was_opened(batch, observed_at)
            if observed_at
            else charge.observed_at
        ),
        how=_how_now(charge, row, container, net_mg=gross_mg - tare_mg),
    )
    if is_correction(row) and not void:
        check_correction(batch, row.net_mg, instead_of_mg=charge.net_mg)
    found = _in_the_way(charge, row)
    another_lot.stop_unless_certain(row, found, certain=certain)
    drawing.replace(by, charge, row, certain=certain)
    act, further = act_and_facts(
        "charge taken back" if void else "charge corrected", also, batch, charge, row
    )
    write(
        by,
        batch,
        act,
        before=charge_facts(charge),
        after={
            **charge_facts(row),
            **({"certain_in_spite_of": found} if found else {}),
            **further,
        },
        reason=reason,
        submission=submission,
    )
    return row


def _may_be_of(
    source: Stock,
    *,
    instead: Charge,
    observed_at: datetime.datetime,
    is_signed: bool,
) -> None:
    """Refuse a stock that a charge cannot have been of."""
    if is_signed:
        another_lot.may_take_its_place(instead, source)
    if _both_lots(instead.source, source):
        another_lot.must_fit(
            line=instead.line, source=source, observed_on=local_day(observed_at)
        )
        return
    sources.check_source(
        batch=instead.batch,
        line=instead.line,
        source=source,
        on=local_day(instead.observed_at),
        observed_on=local_day(observed_at),
        is_correction=is_correction(instead),
    )


def _both_lots(old: Stock, new: Stock) -> bool:
    return old.kind == new.kind == Stock.Kind.LOT


def _in_the_way(old: Charge, new: Charge) -> list[str]:
    """Return what forbids to draw the corrected charge, where its lot is another."""
    if new.source_id == old.source_id or not _both_lots(old.source, new.source):
        return []
    return another_lot.in_the_way(new)


def _figure_now(old: Charge, new: Charge) -> None:
    """Give a corrected charge its figure: as before, or what was known of its lot."""
    if new.source_id == old.source_id:
        new.certificate, new.figure = old.certificate, old.figure
        new.figure_uncertainty = old.figure_uncertainty
        new.figure_distribution = old.figure_distribution
        new.figure_origin = old.figure_origin
    elif _both_lots(old.source, new.source):
        _take(new, another_lot.figure_then(old, new.source))
    else:
        with_figure(new)


def _not_taken_back_too_late(batch: Batch, *, void: bool) -> None:
    if void and batch.status in CLOSED_TO_CHARGES:
        raise Refusal(
            f"Batch {batch.number} is finished: nothing could be weighed in instead."
            " Correct the masses or the lot of this charge."
        )


def is_correction(charge: Charge) -> bool:
    """Say whether a charge corrects the alkali: a raw lot that no line asks for."""
    return charge.line_id is None and charge.source.kind == Stock.Kind.LOT


def from_where(source: Stock, how: How, *, net_mg: int) -> How:
    """Return how something is weighed, with the container or portion it comes from."""
    container = drawing.container_for(
        source, how.container, net_mg=0 if how.by_difference else net_mg
    )
    portion = portion_books.portion_for(source, how.portion, net_mg=net_mg)
    how = dataclasses.replace(how, container=container, portion=portion)
    drawing.check_difference(source, how)
    return how


def _in_turn(row: Charge, on: datetime.date) -> None:
    """Refuse to pass over a lot that expires earlier, unless it says why.

    A reason for what is no skip is not kept: it would say that there was one.
    """
    left = proposing.needs_reason(
        batch=row.batch, line=row.line, source=row.source, net_mg=row.net_mg, on=on
    )
    if left is None:
        row.passed_over = ""
    elif not row.passed_over:
        raise Refusal(proposing.words_for(left, row.source), field="passed_over")


def _how_now(
    old: Charge, new: Charge, container: Container | None, *, net_mg: int
) -> How:
    """Return how a corrected charge was weighed: as before, if it is of that lot."""
    named = container
    if new.source_id == old.source_id:
        named = named or old.container
    if named is not None or new.source_id != old.source_id:
        named = drawing.container_for(new.source, named, net_mg=net_mg)
    return How(
        by_difference=old.by_difference and bool(named or old.vessel),
        container=named,
        portion=_portion_now(old, new, net_mg=net_mg),
        vessel=old.vessel,
        start=old.start,
        # It was said of the lot that it was taken for.
        passed_over=old.passed_over if new.source_id == old.source_id else "",
        transcription=old.transcription,
    )


def _portion_now(old: Charge, new: Charge, *, net_mg: int) -> Portion | None:
    """Return the portion of a corrected charge: as before, if it is of that batch."""
    if new.is_void:
        return old.portion
    if new.source_id != old.source_id:
        return portion_books.portion_for(new.source, None, net_mg=net_mg)
    was = portion_books.Taken(portion=old.portion, mass_mg=old.net_mg)
    return portion_books.portion_for(new.source, old.portion, net_mg=net_mg, was=was)


def with_figure(row: Charge) -> Charge:
    """Return a charge with what its lot gives to the alkali computation today."""
    if row.source.kind != Stock.Kind.LOT:
        return row
    _take(row, sources.figure_of(planning.lot_of(row.source)))
    return row


def _take(row: Charge, figure: sources.Figure | None) -> None:
    if figure is not None:
        row.figure = figure.value.quantize(Decimal("0.000001"))
        row.figure_uncertainty = figure.standard_uncertainty.quantize(
            Decimal("0.000001")
        )
        row.figure_distribution = figure.distribution
        row.figure_origin = figure.origin
        row.certificate = figure.certificate


def charge_facts(row: Charge) -> dict[str, Any]:
    """Return a charge as plain JSON values for the journal."""
    further = {
        "by_difference": row.by_difference,
        "container": row.container.code if row.container else "",
        "portion": portion_books.code_of(row.portion) if row.portion else "",
        "vessel": row.vessel.name if row.vessel else "",
        "passed_over": row.passed_over,
    }
    said = {name: value for name, value in further.items() if value}
    return {**weighing_facts(row), "source": row.source.code, **said}
