"""The recall list: on paper by holder to telephone from, and bottle by bottle."""

from __future__ import annotations

import contextlib
import dataclasses
import functools
from collections.abc import Callable, Generator, Iterable, Iterator, Mapping
from fractions import Fraction

from django.utils import timezone

from batches import trace
from batches.shares import Share
from producer import prints
from producer.models import Premises
from producer.one_moment import one_moment
from quality.documents.bottle_lists import Head, ShareOf, as_csv, as_json
from quality.documents.bottle_pages import as_pdf
from quality.models import Recall
from quality.services import recall_notices, recall_roots, recall_scope
from quality.services.recall_affected import Affected
from quality.services.recall_notices import Letter
from quality.services.recall_roots import Beginning
from quality.services.recall_scope import Scope
from quality.services.recall_status import standing_of

# How every bottle may be listed, one by one.
WRITERS: Mapping[
    str, Callable[[Head, Iterable[trace.TracedBottle], ShareOf], Iterator[bytes]]
] = {"csv": as_csv, "json": as_json, "pdf": as_pdf}


@dataclasses.dataclass(frozen=True, kw_only=True)
class Listed:
    """What a list of bottles is of: in words, and how its scope is found.

    The scope is found when the list is begun, so that all of it is of one moment.
    """

    words: str
    find: Callable[[], Scope]
    recall: Recall | None = None


def of(beginning: Beginning) -> Listed:
    """Return what a list of all that rests on something is of."""
    return Listed(
        words=recall_roots.in_words(beginning),
        find=lambda: recall_scope.scope_by(beginning),
    )


def of_recall(recall: Recall) -> Listed:
    """Return what a list of a recall is of."""
    return Listed(
        words=recall.subject,
        find=lambda: recall_scope.scope_of(recall),
        recall=recall,
    )


def list_pdf(affected: Affected, recall: Recall | None, *, printed_by: str) -> bytes:
    """Return the list of what is affected, by holder, to telephone from."""
    return prints.pdf(
        "quality/recall_list.html",
        {"recall": recall, "affected": affected},
        printed_by=printed_by,
    )


def notices_pdf(recall: Recall, *, printed_by: str) -> bytes:
    """Return the notices of a recall, a page each: to post, to holders, all clears."""
    return prints.pdf(
        "quality/recall_notices_print.html",
        {"recall": recall, "letters": notices_of(recall)},
        printed_by=printed_by,
    )


def notices_of(recall: Recall) -> list[Letter]:
    """Return every notice of a recall: the one to post first, then by holder."""
    to_post = [recall_notices.poster_of(recall)]
    return [
        *(one for one in to_post if one.goods),
        *recall_notices.letters_of(recall),
        *recall_notices.all_clears_of(recall),
    ]


def report_pdf(recall: Recall, *, printed_by: str) -> bytes:
    """Return how a recall stands, with names: for inside."""
    return prints.pdf(
        "quality/recall_report_print.html",
        {"recall": recall, "now": standing_of(recall)},
        printed_by=printed_by,
    )


def list_of(
    listed: Listed,
    form: str,
    *,
    printed_by: str = "",
    premises: Premises | None = None,
) -> Generator[bytes]:
    """Yield every bottle, one by one, as ``form`` of :data:`WRITERS`; all of a moment.

    What happens to the bottles while it is read is not in it. Memory stays the same
    however many there are.
    """
    recall = listed.recall
    with one_moment():
        scope = listed.find()
        head = Head(
            root=listed.words,
            at=timezone.localtime(timezone.now(), premises.zone if premises else None),
            count=scope.bottle_count(),
            recall=recall.code if recall else "",
            is_mock=bool(recall and recall.is_mock),
            printed_by=printed_by,
            premises=premises.name if premises else "",
            about=_about(recall) if recall else (),
            mark=premises.decimal_mark if premises else ".",
        )
        with contextlib.closing(_bottles(scope)) as bottles:
            yield from WRITERS[form](head, bottles, share_in(scope))


def share_in(scope: Scope) -> ShareOf:
    """Return who knows the share of what a scope began with in a batch, by its id.

    All of them are looked up when the first is asked for.
    """
    made = frozenset(scope.made_ids)

    @functools.cache
    def found() -> Mapping[int, Share]:
        return scope.shares()

    def share(batch_id: int) -> Share:
        if batch_id not in made:  # of a filling lot for itself: all that is in it
            return Share(least=Fraction(1))
        return found()[batch_id]

    return share


def _bottles(scope: Scope) -> Generator[trace.TracedBottle]:
    yield from scope.traced()


def _about(recall: Recall) -> list[str]:
    hazard = recall.get_hazard_class_display()
    words = [f"{hazard[:1].upper()}{hazard[1:]}. {recall.reason}"]
    return (
        [*words, f"To say: {recall.public_notice}"] if recall.public_notice else words
    )
