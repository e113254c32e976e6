"""What has to stand in a deviation before it ends, and which end is not for it."""

from __future__ import annotations

from producer.errors import Refusal
from producer.models import Stock
from quality.models import Characteristic, Deviation, DeviationStep
from quality.services.deviations import Standing
from quality.services.result_now import result_now

Kind = DeviationStep.Kind
Decision = DeviationStep.Decision
CRITICAL = Deviation.Class.CRITICAL
# “Tested again” and “the first result was wrong” are said of a test, not of a wish.
NEEDS_TEST = frozenset({Decision.MENDED, Decision.NOT_CONFIRMED})
# What nobody may give leave for: unreacted oil is not soap.
NEVER_CONCEDED = frozenset({Characteristic.CLARITY})


def is_ready(found: Standing, decision: str) -> None:
    """Refuse a decision while a step is lacking that it rests on."""
    missing = [
        str(kind.label) for kind in (Kind.CAUSE, Kind.ACTION) if not found.has(kind)
    ]
    if missing:
        raise Refusal(
            f"Write down the {' and the '.join(missing)} first: a deviation is decided"
            " when it is known why it came about and what was done."
        )
    if decision in NEEDS_TEST and not found.has(Kind.TEST):
        raise Refusal(
            f"“{Decision(decision).label}” rests on a further test. Test again, and add"
            " a step “further test” that says what came of it.",
            field="decision",
        )


def not_conceded_because(found: Standing) -> str:
    """Return why there can be no concession, or nothing."""
    deviation, stock = found.deviation, found.deviation.stock
    if stock is None or stock.kind != Stock.Kind.BATCH or not deviation.characteristic:
        return (
            "A concession is for one result of one batch. This deviation is not about"
            " the result of a batch: choose another end."
        )
    if deviation.characteristic in NEVER_CONCEDED:
        return (
            "There is no concession for a soap that does not dissolve clear: oil is"
            " left in it, or it has split. Cook on, correct it, or reject it."
        )
    if found.classification == CRITICAL:
        return (
            "There is no concession for what can harm somebody: the class is critical."
            " Correct it or reject it; where it cannot harm, a reviewer first lowers"
            " the class with the reason."
        )
    now = result_now(deviation)
    return now.refused if now else ""
