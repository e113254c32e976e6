"""What must be so before anything is weighed in."""

from __future__ import annotations

from batches.lifecycle import CLOSED_TO_CHARGES
from batches.models import Batch, BulkWeighing, FormulaLine
from batches.services import moves, planning
from producer.errors import Refusal
from producer.models import Material


def still_takes_charges(batch: Batch) -> Batch:
    """Return the batch, locked, if something may still be weighed in."""
    batch = moves.still_open(batch)
    if batch.status in CLOSED_TO_CHARGES:
        raise Refusal(f"Batch {batch.number} is finished; nothing can be added to it.")
    if BulkWeighing.objects.current().filter(batch=batch).exists():
        raise Refusal(
            "What came out has been weighed already, so nothing can be weighed in any"
            " more. Finish the batch; if it needs mending, it is reworked."
        )
    return batch


def its_own_line(batch: Batch, line: FormulaLine | None) -> None:
    """Refuse a line of another formula version."""
    if line is not None and line.version_id != batch.formula_version_id:
        raise Refusal("This line belongs to another formula version.", field="line")


def oils_first(batch: Batch, line: FormulaLine | None) -> None:
    """Refuse potash before every oil was weighed."""
    if line is None or line.material is None:
        return
    if line.material.kind != Material.Kind.POTASH:
        return
    if missing := planning.uncharged_oils(batch):
        raise Refusal(
            f"Weigh the oils first ({', '.join(missing)}): the potash is computed from"
            " what is really in the pot."
        )
