"""What is out of the ordinary in a batch, before anything else about it."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Iterator, Sequence

from quality.models import Signature, SignatureMark
from quality.services import marks
from quality.services.reading_order.instruments import Used
from quality.services.reading_order.judgements import Shown
from quality.services.reading_order.timeline import Event
from quality.statistics.conformity import Verdict


@dataclasses.dataclass(frozen=True, kw_only=True)
class Unusual:
    """A sentence about something unusual, with the place on the page that shows it.

    ``status`` is the slug of its word and shape, ``word`` what is written beside it.
    """

    status: str
    word: str
    sentence: str
    place: str = ""


def unusual(
    *,
    obstacles: Sequence[str],
    shown: Sequence[Shown],
    signatures: Sequence[Signature],
    events: Sequence[Event],
    used: Sequence[Used],
) -> list[Unusual]:
    """Return what a reviewer must look at besides obstacles, notes and corrections.

    Signatures that are void, revised or without an independent check, except what
    befell the newest over the findings, which a page says at its head; results that
    are doubtful or outside, unless an obstacle says so already; entries made late or
    dated ahead; instruments in doubt.
    """
    return [
        *_signed(signatures),
        *_judged(shown, obstacles),
        *_timed(events),
        *_read_with(used),
    ]


def newest_judging(signatures: Sequence[Signature]) -> Signature | None:
    """Return the last signature that looked at the findings, void or not."""
    return next((x for x in reversed(signatures) if x.meaning in marks.JUDGING), None)


def _signed(signatures: Sequence[Signature]) -> Iterator[Unusual]:
    newest = newest_judging(signatures)
    for signature in signatures:
        place = f"signature-{signature.pk}"
        for mark in [] if signature == newest else signature.marks.all():
            kind = SignatureMark.Kind(mark.kind)
            yield Unusual(
                status=kind.value,
                word="signature void" if kind == "void" else "basis later revised",
                sentence=f"{mark.sentence} Because: {mark.reason}",
                place=place,
            )
        if signature.self_reviewed:
            yield Unusual(
                status="self_reviewed",
                word="self-reviewed",
                sentence=(
                    f"{signature.printed_name} signed their own work: self-reviewed, no"
                    " independent check."
                ),
                place=place,
            )


def _judged(shown: Iterable[Shown], obstacles: Sequence[str]) -> Iterator[Unusual]:
    for one in shown:
        is_said = any(obstacle.startswith(one.sentence) for obstacle in obstacles)
        if one.verdict is not None and one.verdict is not Verdict.PASS and not is_said:
            yield Unusual(
                status=one.verdict.value,
                word=f"{one.name}: {one.verdict.label}",
                sentence=one.plain or one.sentence,
                place="judgement",
            )


def _timed(events: Iterable[Event]) -> Iterator[Unusual]:
    for event in events:
        if event.is_ahead:
            word, sentence = "dated ahead", "was dated ahead of when it was entered"
        elif event.is_late:
            word, sentence = "entered late", "was entered a day or more afterwards"
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
