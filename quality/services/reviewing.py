"""What a reviewer must know about a batch before signing."""

from __future__ import annotations

import dataclasses
import datetime
from collections.abc import Iterable
from decimal import Decimal
from typing import Any

from django.db import models

from batches import trace
from batches.lifecycle import BatchStatus
from batches.models import Batch, BulkWeighing, Charge, Loss, Reading, Titration
from batches.services import planning
from batches.services.cooking.charging import is_correction
from batches.services.outcome import outcome_of
from batches.services.results import excess_alkali_of, yield_of
from producer.models import Person, RawLot, User
from producer.models.journal import canonical
from quality.services import recalling, record
from quality.services.alkali import Alkali, alkali_of, words
from quality.services.judging import Finding, findings
from quality.statistics.rounding import rounded
from quality.statistics.uncertainty import expanded

# Of what came out. From 0.5 % on a mixture counts as irritant in CLP Annex VI, index
# 019-002-00-8 (seen at second hand; check the authority's list).
MOST_FREE_ALKALI_PERCENT = Decimal("0.5")


@dataclasses.dataclass(frozen=True, kw_only=True)
class Review:
    """What a reviewer must know before signing.

    ``obstacles`` are the sentences that stand in the way of a release, ``notes`` what
    a reviewer should weigh. ``digest`` changes whenever anything of it does: who signs
    says with it which state of the batch was read.
    """

    findings: list[Finding]
    obstacles: list[str]
    notes: list[str]
    is_own_work: bool
    digest: str


def review_of(batch: Batch, *, by: User) -> Review:
    """Return findings and obstacles of a batch, as ``by`` would face them."""
    judged = findings(batch)
    known = alkali_of(batch)
    obstacles = [finding.sentence for finding in judged if not finding.acceptable]
    obstacles += [
        *_missing_lines(batch),
        *_alkali_obstacles(batch, known),
        *_source_obstacles(batch),
        *_limit_obstacles(batch, judged),
    ]
    notes = [*_alkali_notes(known), *_notes(batch)]
    titrated = str(known.titrated.percent) if known.titrated else None
    shown = [
        record.facts_of(batch),
        [finding.sentence for finding in judged],
        notes,
        titrated,
    ]
    return Review(
        findings=judged,
        obstacles=obstacles,
        notes=notes,
        is_own_work=by.person_id in hands_in(batch),
        digest=record.sha256(canonical([*shown, obstacles, batch.status])),
    )


def hands_in(batch: Batch) -> set[int]:
    """Return the ids of the people who made the batch: people, never accounts."""
    users = {batch.maker_id}
    for rows in _entries(batch):
        users.update(rows.values_list("entered_by_id", flat=True))
    return set(Person.objects.filter(accounts__in=users).values_list("pk", flat=True))


def last_entry_at(batch: Batch) -> datetime.datetime:
    """Return when something was last entered in the batch."""
    times = [batch.entered_at]
    for rows in _entries(batch):
        newest = rows.aggregate(at=models.Max("entered_at"))["at"]
        if newest:
            times.append(newest)
    return max(times)


def _entries(batch: Batch) -> Iterable[models.QuerySet[Any]]:
    """Yield the rows of each kind that were entered in the batch."""
    for model in (Charge, Reading, BulkWeighing, Loss):
        yield model._default_manager.filter(batch=batch)
    yield Titration.objects.filter(stock_id=batch.pk)


def _missing_lines(batch: Batch) -> Iterable[str]:
    # A charge may have been taken back since the batch was finished.
    for name in planning.lines_needed(batch):
        yield f"No {name} is weighed in any more."


def _alkali_obstacles(batch: Batch, known: Alkali) -> Iterable[str]:
    """Yield a sentence where there is too much alkali or, by weighing, too much oil.

    Titrated free alkali decides about alkali where there is one: it looked at the
    paste itself. It cannot see oil, so about that the weighings decide. A rework has
    no weighings to go by: what the rejected batch brought along is not known.
    """
    if known.titrated and known.titrated.percent >= MOST_FREE_ALKALI_PERCENT:
        spread = expanded(known.titrated.uncertainty_percent)
        both = rounded(known.titrated.percent, spread)
        yield (
            f"By titration {both.text()} % of free potassium hydroxide is in it: it is"
            " caustic."
        )
    excess = None if batch.is_rework else excess_alkali_of(batch)
    made_mg = yield_of(batch).actual_mg
    if excess is None or not made_mg:
        return
    percent = excess * 100_000 / made_mg
    if percent >= MOST_FREE_ALKALI_PERCENT and known.titrated is None:
        yield (
            f"By the weighings {_grams(excess, known)} of potassium hydroxide are left"
            f" over, {percent:.2f} % of what came out: it is caustic. A titration of"
            " the free alkali would decide instead."
        )
    elif percent <= -MOST_FREE_ALKALI_PERCENT:
        yield (
            f"By the weighings {_grams(-excess, known)} of potassium hydroxide are"
            " lacking, so oil is left unsaponified."
        )


def _grams(amount: Decimal, known: Alkali) -> str:
    """Return an amount of KOH with the ± of its budget, where there is one."""
    if known.weighed is None:
        return f"{amount:.1f} g"
    return f"{rounded(amount, known.weighed.budget.expanded_uncertainty).text()} g"


def _alkali_notes(known: Alkali) -> Iterable[str]:
    """Yield what the risks say where no titration has looked; it stops nothing."""
    if known.titrated is None and known.level == "stop":
        yield words.verdict(known)
    if known.titration_note:
        yield known.titration_note


def _source_obstacles(batch: Batch) -> Iterable[str]:
    ids = trace.upstream_ids(batch.pk)
    bad_lots = RawLot.objects.listed().filter(
        pk__in=ids, status__in=[RawLot.Status.ON_HOLD, RawLot.Status.REJECTED]
    )
    for lot in bad_lots:
        yield (
            f"Raw lot {lot.code} ({lot.material.name}) is in it and is"
            f" {lot.get_status_display()}."
        )
    bad_batches = Batch.objects.listed().filter(
        pk__in=ids,
        status__in=[BatchStatus.ON_HOLD, BatchStatus.REJECTED, BatchStatus.DISPOSED],
    )
    for parent in bad_batches.exclude(pk=batch.pk):
        yield (
            f"Batch {parent.number} is in it and is {BatchStatus(parent.status).label}."
        )
    for recall in recalling.open_recalls_above(ids):
        yield f"It is affected by the open recall {recall.code}."


def _limit_obstacles(batch: Batch, judged: list[Finding]) -> Iterable[str]:
    hands = hands_in(batch)
    for finding in judged:
        limit = finding.limit
        if limit is None or limit.entered_at <= batch.entered_at:
            continue
        if limit.entered_by.person_id in hands:
            yield (
                f"The limit for {finding.characteristic.label} was set after the batch"
                " was opened, by somebody who made it. Another reviewer sets a limit."
            )


def _notes(batch: Batch) -> Iterable[str]:
    hottest = (
        Reading.objects.current()
        .filter(batch=batch, characteristic=Reading.Characteristic.TEMPERATURE)
        .aggregate(value=models.Max("value"))["value"]
    )
    limit = batch.formula_version.temperature_limit
    if hottest is not None and hottest > limit:
        yield f"It was at {hottest:.1f} °C; the formula allows {limit:.1f} °C."
    amended = sum(
        rows.filter(supersedes__isnull=False).count() for rows in _entries(batch)
    )
    if amended:
        yield f"Corrected entries: {amended}."
    unusual = Charge.objects.current().filter(batch=batch, supersedes__isnull=True)
    for charge in unusual.exclude(reason="").select_related("source"):
        what = "Correction with" if is_correction(charge) else "Unusual charge of"
        yield f"{what} {charge.source.code}: {charge.reason}"
    split = outcome_of(batch).split
    if split is not None and split.is_too_much_unexplained:
        yield (
            f"{split.unexplained:.0f} g of what went in,"
            f" {split.unexplained_percent:.1f} %, is unexplained: neither product nor"
            " water nor a loss that was written down."
        )
