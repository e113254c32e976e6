"""What a reviewer must know about a batch before signing."""

from __future__ import annotations

import dataclasses
import datetime
from collections.abc import Iterable
from decimal import Decimal
from typing import Any

from batches import trace
from batches.lifecycle import CLOSED_TO_CHARGES, BatchStatus
from batches.models import Batch, Discrepancy, Formula
from batches.services import discounting, excursions, planning
from batches.services.cooking import another_lot
from batches.services.cooking.charging import is_correction
from batches.services.entries import Entries
from batches.services.outcome import Outcome
from batches.services.results import excess_alkali_of, yield_of
from producer.models import Person, RawLot, User
from producer.models.journal import canonical
from producer.services.alone import why_not_alone
from producer.services.checks import local_day
from quality.models import Characteristic
from quality.services import recall_scope, record, stove
from quality.services.afterwards import afterwards
from quality.services.alkali import (
    Alkali,
    FreeAlkali,
    alkali_of,
    free_alkali_of,
    words,
)
from quality.services.alkali.judged import contradiction, taken_back
from quality.services.conceding import Deviated, deviated
from quality.services.earlier_results import earlier_results
from quality.services.impact.carried import (
    MOST_FREE_ALKALI_PERCENT,
    MOST_PH,
    Judged,
)
from quality.services.impact.release import AboutTools, about_tools
from quality.services.impact.tools import tools_of
from quality.services.judging import Finding, findings
from quality.services.late_limits import late_limits
from quality.services.outcome import CameOut, came_out
from quality.statistics.conformity import Verdict
from quality.statistics.rounding import rounded
from quality.statistics.uncertainty import expanded

WHAT = "batch or entered something in it"


@dataclasses.dataclass(frozen=True, kw_only=True)
class Review:
    """What a reviewer must know before signing.

    ``free_alkali`` is the titration that counts, judged by the figure of the premises;
    None where the formula has a limit of its own, and it is a finding. ``obstacles``
    are the sentences that stand in the way of a release, ``notes`` what a reviewer
    should weigh; with ``needs_reason`` a release must say why in spite of them: always
    but where nothing of them is more than told.
    ``computed`` is what a signature keeps of the figures, ``signed_around`` of the rest
    that was to be weighed, and ``tools`` what the instruments say. ``alkali``,
    ``came_out``, ``entries`` and ``around`` are what it was made from, so that a page
    need not read them again. ``digest`` changes whenever anything of it does: who signs
    says with it which state of the batch was read. ``why_not_alone`` says why somebody
    may not release their own work, or not yet: the end of the pause changes the digest
    too, so that a screen from before it is not fresh enough.
    """

    findings: list[Finding]
    free_alkali: FreeAlkali | None
    obstacles: list[str]
    notes: list[str]
    needs_reason: bool
    computed: dict[str, Any]
    is_own_work: bool
    why_not_alone: str
    alkali: Alkali
    came_out: CameOut
    entries: Entries
    around: Deviated
    tools: AboutTools
    discrepancies: list[Discrepancy]
    signed_around: dict[str, Any]
    digest: str


def review_of(batch: Batch, *, by: User, mark: str = ".") -> Review:
    """Return findings and obstacles of a batch, as ``by`` would face them.

    ``mark`` is the decimal mark of what is said about what came out.
    """
    entries = Entries(batch)
    known = alkali_of(batch, entries=entries)
    found = came_out(batch, mark=mark)
    hands = hands_in(batch, entries)
    late = late_limits(batch, findings(batch, entries, found), hands)
    judged = late.findings
    free = free_alkali_of(batch, known)
    around = deviated(entries)
    tools = about_tools(
        tools_of(entries),
        around.of_tools,
        Judged(
            entries=entries, findings=judged, known=known, is_rework=batch.is_rework
        ),
    )
    earlier = earlier_results(judged, known, around)
    unfitting = stove.discrepancies_of(batch)
    obstacles = [
        finding.sentence + around.advice(finding)
        for finding in judged
        if finding.stops and around.lifts(finding) is None
    ]
    obstacles += [
        *_missing_lines(batch),
        *_ph_obstacles(judged),
        *_titration_obstacles(batch, known, free, around),
        *_weighing_obstacles(batch, known, entries),
        *_source_obstacles(batch, around.ids),
        *late.obstacles,
        *around.obstacles(),
        *tools.obstacles,
        *earlier.obstacles,
        *stove.obstacles(entries, unfitting),
    ]
    conceded = [note for finding in judged for note in around.passed_by(finding)]
    conceded += _conceded_alkali(free, around)
    later = list(afterwards(entries, around.ids))
    contradicted = contradiction(known, judged)
    weighty = [
        *(finding.sentence for finding in judged if finding.warns),
        *_alkali_notes(known, free),
        *([contradicted] if contradicted else []),
        *taken_back(batch),
        *later,
        *conceded,
        *earlier.notes,
        *around.notes(),
        *late.notes,
        *(note for note in tools.notes if note not in tools.unsure),
        *_notes(entries, found.outcome),
        *stove.notes(unfitting),
    ]
    # Only told: what was never checked, and that entries were corrected, each with why.
    told = [*tools.unsure, *_amended(entries)]
    notes = [*weighty, *told]
    computed = record.computed_of(batch, known, found)
    alone = ""
    if by.person_id in hands:
        alone = why_not_alone(by=by, last_at=entries.last_at, what=WHAT)
    shown = [
        record.facts_of(batch, entries),
        [finding.sentence for finding in judged],
        notes,
        computed,
        record.deviations_of(around.known),
    ]
    return Review(
        findings=judged,
        free_alkali=None if free is None or free.by_formula else free,
        obstacles=obstacles,
        notes=notes,
        needs_reason=bool(weighty) or _needs_reason(judged, known, free),
        computed=computed,
        is_own_work=by.person_id in hands,
        why_not_alone=alone,
        alkali=known,
        came_out=found,
        entries=entries,
        around=around,
        tools=tools,
        discrepancies=unfitting,
        signed_around={
            **record.around_of(entries, notes, tools),
            **stove.signed(unfitting),
        },
        digest=record.sha256(canonical([*shown, obstacles, batch.status, alone])),
    )


def hands_in(batch: Batch, entries: Entries | None = None) -> set[int]:
    """Return the ids of the people who made the batch: people, never accounts."""
    users = {batch.maker_id, *discounting.set_by(batch)}
    users.update(row.entered_by_id for row in entries or Entries(batch))
    return set(Person.objects.filter(accounts__in=users).values_list("pk", flat=True))


def last_entry_at(batch: Batch) -> datetime.datetime:
    """Return when something was last entered in the batch."""
    return Entries(batch).last_at


def _missing_lines(batch: Batch) -> Iterable[str]:
    # A charge may have been taken back since the batch was finished.
    word = "any more" if batch.status in CLOSED_TO_CHARGES else "yet"
    for name in planning.lines_needed(batch):
        yield f"No {name} is weighed in {word}."


def _needs_reason(
    judged: list[Finding], known: Alkali, free: FreeAlkali | None
) -> bool:
    """Say whether something about it is doubtful, so that a release must say why."""
    doubtful = [one.verdict for one in (*judged, free) if one is not None]
    warned = any(finding.warns for finding in judged)
    return Verdict.CONDITIONAL_PASS in doubtful or warned or known.needs_reason


def _conceded_alkali(free: FreeAlkali | None, around: Deviated) -> list[str]:
    """Return that a concession lets a titrated free alkali pass, where one does."""
    leave = around.concession(Characteristic.FREE_ALKALI)
    if free is None or free.acceptable or free.by_formula or leave is None:
        return []
    return [f"{free.sentence} The concession of deviation {leave.code} lets it pass."]


def _ph_obstacles(judged: list[Finding]) -> Iterable[str]:
    """Yield a sentence where the pH could be so high that no concession helps.

    With the whole ± on the far side, as for free alkali.
    """
    for finding in judged:
        if finding.characteristic != Characteristic.PH or finding.value is None:
            continue
        spread = expanded(finding.standard_uncertainty or Decimal(0))
        if finding.value + spread >= MOST_PH:
            both = rounded(finding.value, spread).text()
            yield (
                f"pH {both} can be {MOST_PH} or more: it is to be taken as corrosive,"
                " whatever the limit is. Check the figure against the list of your"
                " authority."
            )


def _titration_obstacles(
    batch: Batch, known: Alkali, free: FreeAlkali | None, around: Deviated
) -> Iterable[str]:
    """Yield a sentence where a titration says too much alkali, or one is lacking.

    Against what the premises allows with the decision rule, and against the figure of
    CLP with the whole ± on the far side: there the safe error is the wide one.
    """
    if free is None:
        if batch.is_rework and batch.kind != Formula.Kind.DILUTION:
            yield (
                "A rejected batch went into this one, so its alkali is not known by"
                " weighing. Titrate the free alkali of what came out."
            )
        return
    conceded = around.concession(Characteristic.FREE_ALKALI) is not None
    if not free.acceptable and not free.by_formula and not conceded:
        yield free.sentence
    if free.highest >= MOST_FREE_ALKALI_PERCENT:
        both = rounded(free.value, expanded(free.standard_uncertainty))
        yield (
            f"By titration {both.text()} % of free potassium hydroxide is in it, which"
            f" can be {MOST_FREE_ALKALI_PERCENT} % or more: it is to be taken as"
            " caustic."
        )


def is_caustic_by_weighing(batch: Batch) -> bool:
    """Say whether the weighings leave so much alkali over that it is caustic.

    Whatever was titrated: this is asked where somebody has to be warned.
    """
    excess = None if batch.is_rework else excess_alkali_of(batch)
    made_mg = yield_of(batch).actual_mg
    if excess is None or not made_mg:
        return False
    return excess * 100_000 / made_mg >= MOST_FREE_ALKALI_PERCENT


def _weighing_obstacles(batch: Batch, known: Alkali, entries: Entries) -> Iterable[str]:
    """Yield a sentence where by weighing there is too much alkali or too much oil.

    Titrated free alkali decides about alkali where there is one: it looked at the
    paste itself. It cannot see oil, so about that the weighings decide. A rework has
    no weighings to go by: what the rejected batch brought along is not known.
    """
    excess = None if batch.is_rework else excess_alkali_of(batch)
    made_mg = yield_of(batch, entries).actual_mg
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


def _alkali_notes(known: Alkali, free: FreeAlkali | None) -> Iterable[str]:
    """Yield what is doubtful about alkali and oil without stopping a release."""
    is_near = free is not None and free.verdict is Verdict.CONDITIONAL_PASS
    if free is not None and is_near and not free.by_formula:
        yield free.sentence
    if known.is_risky:
        yield words.verdict(known)
    if known.disagree:
        yield words.disagreement(known)
    if known.titration_note:
        yield known.titration_note


def _source_obstacles(batch: Batch, ids: list[int]) -> Iterable[str]:
    bad_lots = RawLot.objects.listed().filter(
        pk__in=ids, status__in=trace.BLOCKING_LOTS
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
            + _advice(batch, parent)
        )
    for recall in recall_scope.still_open(
        recall_scope.reaching(ids, batch_id=batch.pk)
    ):
        yield f"It is affected by the open recall {recall.code}."


def _advice(batch: Batch, parent: Batch) -> str:
    """Return what is left to do where a source was found bad after it was used."""
    undecided = {BatchStatus.AWAITING_REVIEW, BatchStatus.ON_HOLD}
    if parent.status == BatchStatus.ON_HOLD or batch.status not in undecided:
        return ""
    return (
        " So this batch cannot be released: reject it too, then rework it or dispose of"
        " it. The list of where it went shows bottles that may have to be recalled."
    )


def _notes(entries: Entries, found: Outcome) -> Iterable[str]:
    hot = excursions.excursions_of(entries.batch, entries)
    yield from map(excursions.sentence, hot)
    yield from _unusual_charges(entries)
    yield from _past_their_dates(entries)
    split = found.split
    if split is not None and split.is_too_much_unexplained:
        yield (
            f"{split.unexplained:.0f} g of what went in,"
            f" {split.unexplained_percent:.1f} %, is unexplained: neither product nor"
            " water nor a loss that was written down."
        )


def _past_their_dates(entries: Entries) -> Iterable[str]:
    """Yield that a charge was of a lot past its date: a correction put it there.

    Nothing else can: such a lot is not drawn from.
    """
    for row in another_lot.moved_in(entries.charges, entries.standing_charges):
        yield from another_lot.past_its_date(row.source.lot, local_day(row.observed_at))


def _amended(entries: Entries) -> Iterable[str]:
    amended = sum(row.supersedes_id is not None for row in entries)
    if amended:
        yield f"Corrected entries: {amended}."


def _unusual_charges(entries: Entries) -> Iterable[str]:
    """Yield why a charge that stands was unusual, with the reasons of what amended it.

    An amendment has a reason of its own and does not make the first one go away.
    """
    rows = {row.pk: row for row in entries.charges}
    for row in entries.standing_charges:
        first, amended = row, ""
        while first.supersedes_id is not None:
            amended = f" Amended: {first.reason}{amended}"
            first = rows[first.supersedes_id]
        if first.reason:
            what = "Correction with" if is_correction(row) else "Unusual charge of"
            yield f"{what} {row.source.code}: {first.reason}{amended}"
