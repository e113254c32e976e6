"""What must be so before anything is weighed in."""

from __future__ import annotations

from batches.lifecycle import CLOSED_TO_CHARGES
from batches.models import Batch, BulkWeighing, Formula, FormulaLine
from batches.services import moves, planning
from producer.errors import Refusal
from producer.models import Material
from producer.quantities import format_mass


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


def oils_first(batch: Batch, line: FormulaLine | None, *, unusual: str = "") -> None:
    """Refuse potash before every oil was weighed, all but a tenth of each, and water.

    An oil of which more is missing needs the reason ``unusual``: the potash is computed
    from what is in the pot, and the rest of the oil would change it. One of which
    nothing was weighed is always missing. The tenth is common practice, no source.

    In a cook each water comes before the potash, whatever the reason: potash goes into
    water, and water onto potash boils and spits. A rework has a pot full already.
    """
    if line is None or line.material is None:
        return
    if line.material.kind != Material.Kind.POTASH:
        return
    if missing := planning.uncharged_of(batch, Material.Kind.OIL):
        raise Refusal(
            f"Weigh the oils first ({', '.join(missing)}): the potash is computed from"
            " what is really in the pot."
        )
    _water_first(batch)
    if unusual.strip():
        return
    short = [
        f"{format_mass(one.remaining_mg or 0)} of {one.name}"
        for one in planning.plan_of(batch).lines
        if one.kind == Material.Kind.OIL and planning.is_short(one)
    ]
    if short:
        raise Refusal(
            f"Weigh the oils first; still missing: {', '.join(short)}. The potash is"
            " computed from what is really in the pot. If the rest stays out, say why"
            " below.",
            field="unusual",
        )


def _water_first(batch: Batch) -> None:
    if batch.kind != Formula.Kind.COOK or batch.is_rework:
        return
    if missing := planning.uncharged_of(batch, Material.Kind.WATER):
        raise Refusal(
            f"Weigh the water first ({', '.join(missing)}): potash goes into cold"
            " water, never water onto potash."
        )
