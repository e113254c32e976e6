"""Excess alkali in plain words. Numbers take the decimal mark they are given."""

from __future__ import annotations

import enum
from collections.abc import Iterator
from decimal import Decimal

from batches.chemistry.excess import DiscountError
from producer.quantities import format_number
from quality.services.alkali.balance import Alkali
from quality.statistics.budgets import Budget
from quality.statistics.rounding import as_decimal, rounded

LEAST = Decimal("0.1")  # percent; nothing is shown as impossible or as certain


class Stage(enum.StrEnum):
    """What can still be done about it."""

    BEFORE = "before the cook"
    WEIGHED = "all weighed in"
    COOKED = "cooked"
    TITRATED = "titrated"


OPENINGS = {
    ("stop", Stage.BEFORE): "Do not cook",
    ("warn", Stage.BEFORE): "Think twice before cooking",
    ("stop", Stage.WEIGHED): "Do not use it as it stands",
    ("warn", Stage.WEIGHED): "Look at it closely",
    ("stop", Stage.COOKED): "Do not use it before a titration",
    ("warn", Stage.COOKED): "Look at it closely, best by a titration",
    ("stop", Stage.TITRATED): "Do not use it",
    ("warn", Stage.TITRATED): "Look at it closely",
}
LOW = "The risk is low"
OIL_ONLY = "Look for oil before it is used"
CORRECT = "Correct it, cook on, and titrate again."
CORRECT_WEIGHED = (
    "It is more than the ± of what was weighed: check every weighing and amend a wrong"
    " one. If all are right, cook on, look at a portion in hot water, titrate, and"
    " correct the alkali."
)
MEASURE = "Cook on, look at a portion in hot water, and titrate: that says more."
LOOK_FOR_OIL = (
    "Test a portion in hot water for clarity: oil is seen there, and by no titration."
)


def excess_in_words(budget: Budget, *, mark: str = ".") -> str:
    """Return E as “1.2 ± 3.4 g left over” or “… lacking”, and whether it is none."""
    doubt = doubt_in_words(budget)
    return amount_in_words(budget, mark=mark) + (f", which {doubt}" if doubt else "")


def amount_in_words(budget: Budget, *, mark: str = ".") -> str:
    """Return E alone: “1.2 ± 3.4 g left over” or “… lacking”."""
    return grams_in_words(budget.value, budget.expanded_uncertainty, mark=mark)


def grams_in_words(value: float, spread: float, *, mark: str = ".") -> str:
    """Return grams of KOH and their U as “1.2 ± 3.4 g left over” or “… lacking”."""
    side = "left over" if value >= 0 else "lacking"
    return f"{rounded(abs(value), spread).text(mark=mark)} g {side}"


def doubt_in_words(budget: Budget) -> str:
    """Return that E cannot be told from none, where it lies inside its own ±; or ""."""
    if abs(budget.value) < budget.expanded_uncertainty:
        return "cannot be told from none"
    return ""


def disagreement(alkali: Alkali, *, mark: str = ".") -> str:
    """Return that titration and weighings cannot both be right, or nothing."""
    if not alkali.disagree or alkali.weighed is None or alkali.titrated is None:
        return ""
    return (
        f"By weighing {amount_in_words(alkali.weighed.budget, mark=mark)}, by titration"
        f" {amount_in_words(alkali.titrated.budget, mark=mark)}: they differ by more"
        " than both are uncertain. A mass, a figure or the titration is wrong, or not"
        " all has reacted. Say which, and why it may go out."
    )


def chance_in_words(probability: float, *, mark: str = ".") -> str:
    """Return a probability, 0 to 1, in percent; its ends as “below” and “above”."""
    percent = as_decimal(probability * 100)
    if percent < LEAST:
        return f"below {format_number(LEAST, mark=mark)} %"
    if percent > 100 - LEAST:
        return f"above {format_number(100 - LEAST, mark=mark)} %"
    places = 0 if 1 <= percent <= 99 else 1  # noqa: PLR2004 - percent
    return f"{format_number(percent, mark=mark, places=places)} %"


def verdict(alkali: Alkali, *, mark: str = ".") -> str:
    """Return what the risks mean for the maker, in one to three sentences."""
    if not alkali.level:
        return alkali.why_not
    stage = stage_of(alkali)
    sentences = [_risks(alkali, _opening(alkali, stage), mark)]
    if alkali.level != "good":
        sentences += _remedies(alkali, stage, mark)
    return " ".join(sentence for sentence in sentences if sentence)


def _opening(alkali: Alkali, stage: Stage) -> str:
    alkali_is_fine = stage is Stage.TITRATED and (alkali.over or 0) < alkali.warn
    if alkali_is_fine and alkali.level != "good":
        return OIL_ONLY
    return OPENINGS.get((alkali.level, stage), LOW)


def stage_of(alkali: Alkali) -> Stage:
    """Return what can still be done, by what is weighed in and measured."""
    if alkali.titrated is not None:
        return Stage.TITRATED
    cooked = alkali.weighed is None or alkali.weighed.cooked
    if cooked:
        return Stage.COOKED
    potash_is_in = alkali.weighed is not None and alkali.weighed.charge is None
    return Stage.WEIGHED if potash_is_in else Stage.BEFORE


def is_to_correct(alkali: Alkali) -> bool:
    """Say whether all is weighed in and the excess is larger than its own ±."""
    if stage_of(alkali) is not Stage.WEIGHED or alkali.weighed is None:
        return False
    return not doubt_in_words(alkali.weighed.budget)


def _remedies(alkali: Alkali, stage: Stage, mark: str) -> Iterator[str]:
    if stage is Stage.WEIGHED:
        yield CORRECT_WEIGHED if is_to_correct(alkali) else MEASURE
        return
    if stage is Stage.BEFORE:
        if alkali.weighed and alkali.weighed.advice:
            yield f"What would help most: {alkali.weighed.advice}."
        yield discount_in_words(alkali, mark=mark)
        return
    if stage is Stage.TITRATED and (alkali.over or 0) >= alkali.warn:
        yield CORRECT
    if (alkali.under or 0) >= alkali.warn:
        yield LOOK_FOR_OIL


def discount_in_words(alkali: Alkali, *, mark: str = ".") -> str:
    """Return which lye discount would help against alkali and what it costs, or ""."""
    try:
        discount = alkali.discount()
    except DiscountError as error:
        return str(error)
    charge = alkali.weighed.charge if alkali.weighed else None
    if discount is None or charge is None:
        return ""
    after = charge.risks(discount, alkali.limits)
    return (
        f"A lye discount of {_percent(discount, mark)} would bring the risk of too much"
        f" alkali below {_percent(alkali.warn, mark)}; that of unsaponified oil would"
        f" then be {chance_in_words(after.under, mark=mark)}."
    )


def _risks(alkali: Alkali, opening: str, mark: str) -> str:
    limits, parts = alkali.limits, []
    if alkali.over is not None:
        most = _percent(limits.free_alkali_percent / 100, mark)
        chance = chance_in_words(alkali.over, mark=mark)
        parts.append(f"of more than {most} of free potassium hydroxide is {chance}")
    if alkali.under is not None:
        most = _percent(limits.unsaponified_percent / 100, mark)
        chance = chance_in_words(alkali.under, mark=mark)
        parts.append(f"of more than {most} of unsaponified oil is {chance}")
    return f"{opening}. By what is known the risk {', that '.join(parts)}."


def _percent(share: float, mark: str) -> str:
    return f"{format_number(as_decimal(share * 100), mark=mark)} %"
