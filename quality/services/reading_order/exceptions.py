"""What is out of the ordinary in a batch, before anything else about it."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Iterator, Sequence
from typing import Final

from batches.lifecycle import BatchStatus
from batches.models import Batch
from batches.services import samples
from quality.models import Recall, Signature, SignatureMark
from quality.services import marks
from quality.services.deviations import Decision, Standing, subject
from quality.services.earlier_results import all_outside
from quality.services.reading_order.instruments import Used
from quality.services.reading_order.judgements import Shown
from quality.services.reading_order.stove import at_the_stove
from quality.services.reading_order.timeline import Corrected, Event, corrections_in
from quality.services.reading_order.unusual import Unusual
from quality.services.reviewing import Review
from quality.statistics.conformity import Verdict

# States that an auditor must not have to look for.
EXCEPTIONAL: Final = {
    BatchStatus.REJECTED,
    BatchStatus.ON_HOLD,
    BatchStatus.REWORKED,
    BatchStatus.DISPOSED,
    BatchStatus.ABANDONED,
}


@dataclasses.dataclass(frozen=True, kw_only=True)
class Exceptions:
    """All that is out of the ordinary, the same on the page and on paper.

    ``head`` is what befell the newest signature over the findings, which a page says
    at its head. ``unusual`` goes by what was signed where it is signed. ``obstacles``,
    ``notes`` and ``differences`` are of today; ``heading`` says what the obstacles
    stand in the way of. ``deviations`` are those of the batch and of all that is in it.
    """

    head: list[Unusual]
    unusual: list[Unusual]
    corrections: list[Corrected]
    heading: str
    obstacles: list[str]
    notes: list[str]
    differences: list[str]
    deviations: list[Standing]

    @property
    def is_none(self) -> bool:
        """Say whether nothing at all is unusual."""
        return not any(
            (
                self.head,
                self.unusual,
                self.corrections,
                self.obstacles,
                self.notes,
                self.differences,
                self.deviations,
            )
        )


def exceptions_of(
    batch: Batch,
    review: Review,
    signatures: Sequence[Signature],
    *,
    shown: Sequence[Shown],
    is_signed: bool,
    events: list[Event],
    used: Sequence[Used],
    differences: Sequence[str] = (),
) -> Exceptions:
    """Return what a reviewer and an auditor must look at first.

    ``shown`` are the judgements that count: those that a signature signed where
    ``is_signed``, else those of today. ``signatures`` are those of the batch with their
    marks, the oldest first, ``differences`` between what was signed and today.
    """
    known = sorted(review.around.known, key=lambda one: not one.is_open)
    outside = list(_outside(review))
    told = {one.sentence for one in outside}
    return Exceptions(
        head=list(_of_newest(signatures)),
        unusual=[
            *_of_status(batch),
            *_signed(signatures),
            *_judged(shown, () if is_signed else review.obstacles, is_signed=is_signed),
            *outside,
            *_deviated(known),
            *at_the_stove(events, review),
            *_timed(events),
            *_read_with(used),
            *_recalled(batch),
            *_changed(batch),
        ],
        corrections=corrections_in(events),
        heading=_heading(batch),
        obstacles=review.obstacles,
        notes=[one for one in review.notes if one not in told],
        differences=list(differences),
        deviations=known,
    )


def newest_judging(signatures: Sequence[Signature]) -> Signature | None:
    """Return the last signature that looked at the findings, void or not."""
    return next((x for x in reversed(signatures) if x.meaning in marks.JUDGING), None)


def _heading(batch: Batch) -> str:
    undecided = {BatchStatus.AWAITING_REVIEW, BatchStatus.ON_HOLD}
    if batch.is_open or batch.status in undecided:
        return "What stands in the way of a release"
    if batch.status == BatchStatus.RELEASED:
        return "What would stand in the way of a release today"
    return "What stood in the way of a release, by the registers as they are today"


def _of_status(batch: Batch) -> Iterator[Unusual]:
    state = BatchStatus(batch.status)
    if state in EXCEPTIONAL:
        yield Unusual(
            status=state.value,
            word=state.label,
            sentence=f"The batch is {state.label}.",
        )
    if batch.is_rework:
        yield Unusual(
            status=BatchStatus.REWORKED.value,
            word="rework",
            sentence="A rejected batch went into it for rework.",
        )


def _of_newest(signatures: Sequence[Signature]) -> Iterator[Unusual]:
    newest = newest_judging(signatures)
    for number, signature in enumerate(signatures, start=1):
        if signature == newest:
            yield from _marked(number, signature)


def _signed(signatures: Sequence[Signature]) -> Iterator[Unusual]:
    newest = newest_judging(signatures)
    for number, signature in enumerate(signatures, start=1):
        if signature != newest:
            yield from _marked(number, signature)
        if signature.self_reviewed:
            yield Unusual(
                status="self_reviewed",
                word="self-reviewed",
                sentence=(
                    f"Signature {number}: {signature.printed_name} signed their own"
                    " work: self-reviewed, no independent check."
                ),
                place=f"signature-{signature.pk}",
            )


def _marked(number: int, signature: Signature) -> Iterator[Unusual]:
    """Yield what befell a signature; ``number`` is its place among those of a batch."""
    for mark in signature.marks.all():
        kind = SignatureMark.Kind(mark.kind)
        because = f" Because: {mark.reason}" if mark.reason else ""
        yield Unusual(
            status=kind.value,
            word="signature void" if kind == "void" else "basis later revised",
            sentence=(
                f"Signature {number}, by {signature.printed_name}:"
                f" {kind.label}. {mark.sentence}{because}"
            ),
            place=f"signature-{signature.pk}",
        )


def _judged(
    shown: Iterable[Shown], obstacles: Sequence[str], *, is_signed: bool
) -> Iterator[Unusual]:
    """Yield each result that is no plain pass, unless an obstacle says so already."""
    when = " when signed" if is_signed else ""
    for one in shown:
        if one.verdict is Verdict.PASS or (one.verdict is None and not is_signed):
            continue
        if any(obstacle.startswith(one.sentence) for obstacle in obstacles):
            continue
        yield Unusual(
            status=one.verdict.value if one.verdict else "missing",
            word=f"{one.name}: {one.verdict.label if one.verdict else 'missing'}{when}",
            sentence=one.plain or one.sentence,
            place="judgement",
        )


def _outside(review: Review) -> Iterator[Unusual]:
    """Yield the results outside that stand beside the last, or stood before it."""
    for sentence in all_outside(review.findings, review.entries, review.alkali):
        yield Unusual(
            status=Verdict.FAIL.value,
            word="outside its limit",
            sentence=sentence,
            place="process",
        )


def _deviated(known: Iterable[Standing]) -> Iterator[Unusual]:
    """Yield each deviation with its class and how it was decided."""
    for one in known:
        about = subject(one.deviation.characteristic)
        said = f"Deviation {one.code} of {one.name}{f', {about}' if about else ''}"
        said += f" ({one.classification.label}): {one.words}."
        if one.closing is not None and one.closing.decision == Decision.CONCESSION:
            said += f" {one.closing.text}"
        decision = one.closing.decision if one.closing else ""
        is_rejected = decision == Decision.REJECTED
        yield Unusual(
            status="rejected" if is_rejected else one.status,
            word=f"{one.status} deviation",
            sentence=said,
        )


def _recalled(batch: Batch) -> Iterator[Unusual]:
    for recall in Recall.objects.filter(items__stock=batch.pk).distinct():
        kind = "mock recall" if recall.is_mock else "recall"
        yield Unusual(
            status="recalled" if not recall.is_mock else "mock",
            word=kind,
            sentence=(
                f"{recall.code}, {kind} of class {recall.hazard_class},"
                f" {recall.get_status_display()}: {recall.reason}"
            ),
        )


def _changed(batch: Batch) -> Iterator[Unusual]:
    """Yield what was found changed in a sample that is kept of its bottles."""
    for look in samples.changed().filter(sample__filling_lot__batch=batch):
        yield Unusual(
            status=look.state,
            word="sample changed",
            sentence=(
                f"A sample kept of {look.sample.filling_lot.code} changed: {look.found}"
            ),
        )


def _timed(events: Iterable[Event]) -> Iterator[Unusual]:
    for event in events:
        if event.is_ahead:
            word, sentence = "dated ahead", "was dated ahead of when it was entered"
        elif event.is_late:
            word, sentence = "entered late", f"was entered {event.waited_words} later"
        else:
            continue
        yield Unusual(
            status="off_the_clock",
            word=word,
            sentence=f"{event.title} {sentence}: {event.words}",
            place=event.anchor,
        )


def _read_with(used: Iterable[Used]) -> Iterator[Unusual]:
    for one in used:
        if one.doubt:
            yield Unusual(
                status="in_doubt",
                word="instrument in doubt",
                sentence=one.doubt,
                place="instruments",
            )
