"""How to bring the alkali of a batch back: which excess counts, and what to weigh in.

The excess and its ± come from the alkali balance, in floats; doses are weighed and
compared with limits, so from here on it is Decimal.

When no dose is computed, though the excess is larger than its own ±:

- *Too much alkali*: until a portion, looked at since the last charge, is clear. What
  has not reacted yet looks like too much of both.
- *The titration and the weighings differ* by more than √(U₁² + U₂²), the root of the
  sum of the squares of both ± (GUM 5.1.2): until then too. A clear portion and a
  titration together are enough, whichever is higher: then all has reacted, so what is
  wrong is a mass or a figure, such as a certificate, and the titration has looked at
  the paste itself.
- *Alkali is lacking*: until a portion was looked at, and if that was clear: then there
  is no oil to take the potash up. A titration sees no oil, so next to weighings that
  lack alkali it should find none; that is what it is held against.
"""

from __future__ import annotations

import dataclasses
import datetime
from decimal import Decimal

from batches.chemistry import correction as chemistry
from batches.chemistry.constants import PERCENT
from batches.lifecycle import CLOSED_TO_CHARGES, BatchStatus
from batches.models import Batch, BulkWeighing, Charge, Reading
from batches.services.cooking.correcting import missing_before_correcting
from batches.services.entries import Entries, standing
from producer.models import Stock
from quality.services.alkali import Alkali, alkali_of
from quality.services.correction_doses import Doses, Excess, Proposal
from quality.services.judgement import outdated
from quality.statistics.budgets import Budget
from quality.statistics.rounding import as_decimal

BY_TITRATION, BY_WEIGHING = "titration", "weighings"
NOT_REACTED = (
    "Titration and weighings differ by more than both ± together: not all has reacted,"
    " or a mass or figure is wrong. Cook on, look at a portion in hot distilled water,"
    " and titrate again."
)
LOOK_FIRST = (
    "No portion was looked at since the last charge. Cook on, look at one in hot"
    " distilled water, and titrate the free alkali: what has not reacted yet looks like"
    " too much of both."
)
MOST_CORRECTIONS = 2  # requirement E2 of ours: after two, hold and decide


@dataclasses.dataclass(frozen=True, kw_only=True)
class Correction:
    """All that the page of a correction shows.

    ``closed`` says why nothing can go in at all, ``why_not`` why no dose is computed;
    both are empty where there are proposals.
    """

    excess: Excess | None
    share: Decimal
    closed: str
    why_not: str
    advice: list[str]
    proposals: list[Proposal]


def correction_of(
    batch: Batch, *, on: datetime.date, share: Decimal = chemistry.USUAL_SHARE
) -> Correction:
    """Return what would bring the alkali of a batch back, dosed at a share of it."""
    alkali = alkali_of(batch)
    excess = excess_of(alkali)
    closed = _closed(batch)
    portion = _portion(batch)
    why_not = _why_not(alkali, excess, portion)
    proposals: list[Proposal] = []
    if excess is not None and not closed and not why_not:
        proposals = Doses(batch, excess, share).proposals(on)
    return Correction(
        excess=excess,
        share=share,
        closed=closed,
        why_not=why_not,
        advice=_advice(batch, alkali, excess, portion),
        proposals=proposals,
    )


def excess_of(alkali: Alkali) -> Excess | None:
    """Return the excess to go by: titrated alkali before weighed, but for lacking KOH.

    A titration sees alkali and not oil: where it finds none, and the weighings say
    that some is lacking, the weighings count.
    """
    by_weighing = (
        _excess(alkali.weighed.budget, BY_WEIGHING) if alkali.weighed else None
    )
    by_titration = (
        _excess(alkali.titrated.budget, BY_TITRATION) if alkali.titrated else None
    )
    if by_titration is None:
        return by_weighing
    if by_weighing is None or by_titration.is_known:
        return by_titration
    lacking = by_weighing.is_known and by_weighing.value_g < 0
    return by_weighing if lacking else by_titration


def _excess(found: Budget, origin: str) -> Excess:
    return Excess(
        value_g=as_decimal(found.value),
        expanded_uncertainty_g=as_decimal(found.expanded_uncertainty),
        origin=origin,
        budget=found,
    )


def _closed(batch: Batch) -> str:
    if not batch.is_open or batch.status in CLOSED_TO_CHARGES:
        return (
            f"The batch is {BatchStatus(batch.status).label}: nothing can be weighed in"
            " any more. If it needs mending, it is rejected and reworked."
        )
    if batch.status == BatchStatus.PLANNED:
        return "Nothing is in the pot yet."
    if BulkWeighing.objects.current().filter(batch=batch).exists():
        return (
            "What came out has been weighed already, so nothing can be weighed in any"
            " more. If it needs mending, it is rejected and reworked."
        )
    missing = missing_before_correcting(batch)
    if missing:
        return f"Weigh {', '.join(missing)} first: until then nothing is to correct."
    return ""


def _why_not(alkali: Alkali, excess: Excess | None, portion: Reading | None) -> str:
    if alkali.titration_note:
        # The weighings were found wrong once; a dose by them would undo the first.
        return alkali.titration_note
    if excess is None:
        return alkali.why_not
    if not excess.is_known:
        return (
            "This is inside its own uncertainty: it may as well be none, and a dose"
            " could make it worse. Measure first: cook on, then titrate the free"
            " alkali."
        )
    if disagree(alkali) and not _is_clear(portion):
        return NOT_REACTED
    return _not_looked_at(excess, portion)


def _not_looked_at(excess: Excess, portion: Reading | None) -> str:
    """Return what a portion in hot water still has to show, or nothing."""
    if portion is None:
        return LOOK_FIRST
    if excess.value_g > 0 and not _is_clear(portion):
        return (
            f"The portion showed {portion.get_clarity_display()}: oil and alkali are"
            " both still free. Cook on, look at a portion, and titrate."
        )
    if excess.value_g < 0 and _is_clear(portion):
        return (
            "The portion was clear, so there is no oil that potash could take up: a"
            " mass or a figure is wrong, not the pot. Titrate the free alkali."
        )
    return ""


def _portion(batch: Batch) -> Reading | None:
    """Return the last look at a portion, if nothing was weighed in since."""
    entries = Entries(batch)
    looked = [
        row
        for row in standing(entries.readings)
        if row.characteristic == Reading.Characteristic.CLARITY
    ]
    return looked[-1] if looked and not outdated(entries, looked[-1]) else None


def _is_clear(portion: Reading | None) -> bool:
    return portion is not None and portion.clarity == Reading.Clarity.CLEAR


def _advice(
    batch: Batch, alkali: Alkali, excess: Excess | None, portion: Reading | None
) -> list[str]:
    advice = []
    if disagree(alkali) and _is_clear(portion):
        advice.append(
            "The titration and the weighings differ by more than both ± together, and"
            " the portion is clear: a mass or a figure is wrong. Look for it; the dose"
            " goes by the titration."
        )
    if batch.lye_discount and excess is not None and excess.value_g < 0:
        advice.append(
            f"{(batch.lye_discount * PERCENT).normalize():f} % of the potash was left"
            " out on purpose, so that much is meant to be lacking."
        )
    done = corrections_in(batch)
    if done >= MOST_CORRECTIONS:
        advice.append(
            f"{done} corrections are in it already. Before another, stop: hold the"
            " batch, find the cause, and decide."
        )
    return advice


def disagree(alkali: Alkali) -> bool:
    """Say whether titration and weighings differ by more than both ± together.

    Where alkali is lacking by the weighings a titration should find none.
    """
    if alkali.weighed is None or alkali.titrated is None:
        return False
    weighed = _excess(alkali.weighed.budget, BY_WEIGHING)
    titrated = _excess(alkali.titrated.budget, BY_TITRATION)
    expected = max(weighed.value_g, Decimal(0))
    both = weighed.expanded_uncertainty_g**2 + titrated.expanded_uncertainty_g**2
    return abs(titrated.value_g - expected) > both.sqrt()


def corrections_in(batch: Batch) -> int:
    """Return how many corrections are in a batch."""
    return (
        Charge.objects.current()
        .filter(batch=batch, line__isnull=True, source__kind=Stock.Kind.LOT)
        .count()
    )
