"""What a reviewer is told of things that happened after weighing or after signing."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from batches.services.entries import Entries
from producer.models import RawLot
from producer.services.intake import current_certificates
from quality.models import SignatureMark
from quality.services import marks
from quality.services.revising import in_words, made_with_former, new_excess

Kind = SignatureMark.Kind


def afterwards(
    entries: Entries, ids: Sequence[int], *, mark: str = "."
) -> Iterator[str]:
    """Yield a sentence for each: changed when signed, revised, in it or itself.

    ``ids`` are the batch and all that is in it, at any depth.
    """
    yield from _changed(entries)
    yield from _below_changed(entries, ids)
    yield from _revised(entries, mark)


def _changed(entries: Entries) -> Iterator[str]:
    """Yield what was changed in this batch after it had been signed."""
    said = set()
    for signature in marks.judging(entries.batch):
        for row in signature.marks.all():
            if row.kind == Kind.VOID and row.sentence not in said:
                said.add(row.sentence)
                yield (
                    f"Changed after it was signed by {signature.printed_name}:"
                    f" {row.sentence} Because: {row.reason}"
                )


def _below_changed(entries: Entries, ids: Sequence[int]) -> Iterator[str]:
    """Yield what was changed or revised in batches that are in this one."""
    below = [pk for pk in ids if pk != entries.batch.pk]
    rows = SignatureMark.objects.filter(signature__batch__in=below)
    said = set()
    for row in rows.select_related("signature__batch__stock").order_by("pk"):
        number = row.signature.batch.number
        if (number, row.sentence) in said:  # under several signatures of it
            continue
        said.add((number, row.sentence))
        what = "was changed" if row.kind == Kind.VOID else "had its basis revised"
        yield f"Batch {number} is in it, and {what} after it was signed: {row.sentence}"


def _revised(entries: Entries, mark: str) -> Iterator[str]:
    """Yield the certificates that were revised after a lot was weighed in."""
    ids = {
        row.certificate.lot_id for row in entries.standing_charges if row.certificate
    }
    lots = RawLot.objects.listed().filter(pk__in=ids).order_by("pk")
    for pk, newest in current_certificates(lots).items():
        rows = made_with_former(entries.standing_charges, newest)
        if not rows:
            continue
        lot = next(one for one in lots if one.pk == pk)
        former = {in_words(row.certificate) for row in rows if row.certificate}
        excess, why_not = new_excess(entries, lot, mark=mark)
        now = (
            f"with the new figure {excess} by the weighings"
            if excess
            else f"what that changes is not known: {why_not}"
        )
        yield (
            f"The certificate of {lot.code} was revised after it was weighed in, from"
            f" {'; '.join(sorted(former))} to {in_words(newest)}: {now}"
            + ("." if excess else "")
        )
