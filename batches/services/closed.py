"""Correcting what is signed already: possible, never without its consequences.

A record closes with its signature, and nothing is added to it any more. What was
written down wrongly is corrected all the same, because a known error must not stand;
but then the signature no longer covers the record. What follows from that is for those
who judge, of which this app knows nothing: so they hand their part in, and it is
carried out in the same transaction and told in the same journal row.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from batches.models import Batch
from batches.services import moves
from producer.errors import Refusal
from producer.models import RawLot, Right, User
from producer.services.checks import require

# Given the batch, the row that stood and the row that stands now, carries out what
# follows for a signed batch; returns what the journal says of it.
Also = Callable[[Batch, Any, Any], Mapping[str, Any]]
AFTER = " after signature"


def may_amend(*, by: User, batch: Batch, also: Also | None) -> Batch:
    """Return the batch, locked, if one of its entries may be corrected now.

    Without ``also`` by a maker, while the record is open. With it by whoever the
    caller let through, once the record is closed.
    """
    if also is None:
        require(by, Right.MAKER)
        return moves.still_open(batch)
    batch = moves.locked(batch)
    if batch.is_open:
        raise Refusal(
            f"Batch {batch.number} is not signed yet. Correct this entry on its page."
        )
    return batch


def act_and_facts(
    act: str, also: Also | None, subject: Batch | RawLot, old: Any, new: Any
) -> tuple[str, Mapping[str, Any]]:
    """Carry out what follows, if anything; return the act's name and further facts.

    Nothing follows for a raw lot: it has no signature.
    """
    if also is None or isinstance(subject, RawLot):
        return act, {}
    return act + AFTER, also(subject, old, new)
