"""A value, its uncertainty and a limit make one of four outcomes.

Source: ILAC-G8:09/2019, 4.2.3, non-binary statement with guard band. How wide the band
is, is the choice of a decision rule with a name and a version: :data:`RULES`. Usually
it is w = U, the expanded uncertainty: :data:`RULE`. How often such an outcome is wrong
is in :mod:`.risks`.

Decimal: a value exactly on a limit must be judged as lying on it.

>>> judge(Decimal("9.8"), lower=None, upper=Decimal(10), guard_band=Decimal("0.6"))
<Verdict.CONDITIONAL_PASS: 'conditional_pass'>
"""

from __future__ import annotations

import dataclasses
import enum
from collections.abc import Callable
from decimal import Decimal

from producer.quantities import format_number
from quality.statistics.rounding import SHOWN_DIGITS, rounded_up

UNFIT = " This method is too coarse for these limits: take a finer one."


class Verdict(enum.StrEnum):
    """The four outcomes.

    >>> Verdict.CONDITIONAL_PASS.label, Verdict.CONDITIONAL_FAIL.acceptable
    ('conditional pass', False)
    """

    PASS = "pass"  # noqa: S105 - an outcome, not a password
    CONDITIONAL_PASS = "conditional_pass"  # noqa: S105
    CONDITIONAL_FAIL = "conditional_fail"
    FAIL = "fail"

    @property
    def label(self) -> str:
        """The words shown on screens and prints."""
        return self.value.replace("_", " ")

    @property
    def acceptable(self) -> bool:
        """Say whether the value itself lies inside the limits."""
        return self in {Verdict.PASS, Verdict.CONDITIONAL_PASS}


@dataclasses.dataclass(frozen=True, kw_only=True)
class DecisionRule:
    """How an uncertainty counts in a judgement: named, versioned, never changed.

    The guard band is ``bands`` times the expanded uncertainty U. Another choice is
    another rule with a version of its own, so that an old judgement keeps its rule.
    ``slug`` names rule and version on a record, ``meaning`` says it to people, and
    ``read`` how the source came to us where we have not read it.
    """

    slug: str
    name: str
    version: int
    bands: Decimal
    source: str
    meaning: str = ""
    read: str = ""

    def guard_band(self, expanded_uncertainty: Decimal) -> Decimal:
        """Return the width kept from a limit, in the unit of the uncertainty.

        >>> RULE.guard_band(Decimal("0.6"))
        Decimal('0.6')
        """
        return self.bands * expanded_uncertainty

    @property
    def statement(self) -> str:
        """The rule in one sentence, as it stands beside a judgement.

        >>> RULE.statement
        'Guard band of the expanded uncertainty, k = 2; version 1 (ILAC-G8:09/2019, \
4.2.3).'
        """
        return f"{self.name}; version {self.version} ({self.source})."


RULE = DecisionRule(
    slug="guard_u_1",
    name="Guard band of the expanded uncertainty, k = 2",
    version=1,
    bands=Decimal(1),
    source="ILAC-G8:09/2019, 4.2.3",
    meaning=(
        "A value passes when it keeps its whole ± away from the limit. Nearer to it"
        " passes with a condition: a release then says why."
    ),
)
# By slug; the first is what a limit gets unless another is chosen. Its clause was read;
# those of the other two were not. Records keep name and source: neither may change.
RULES = {
    rule.slug: rule
    for rule in (
        RULE,
        DecisionRule(
            slug="guard_083u_1",
            name="Guard band of 0.83 times the expanded uncertainty, k = 2",
            version=1,
            bands=Decimal("0.83"),
            source="ILAC-G8:09/2019, table 1, after ISO 14253-1:2017",
            read="not read by us: at second hand",
            meaning=(
                "A value passes when it keeps five sixths of its ± away from the"
                " limit. A little easier to meet, and a little more often wrong."
            ),
        ),
        DecisionRule(
            slug="simple_1",
            name="Simple acceptance: the value itself counts, without a guard band",
            version=1,
            bands=Decimal(0),
            source="ILAC-G8:09/2019, 4.2.1",
            read="clause from memory",
            meaning=(
                "The value alone counts, and its ± only says how sure that is. Close"
                " to the limit such a judgement is wrong every second time: only for"
                " what does no harm."
            ),
        ),
    )
}


def judge(
    value: Decimal,
    *,
    lower: Decimal | None,
    upper: Decimal | None,
    guard_band: Decimal,
) -> Verdict:
    """Return the outcome of ``value`` against one or two limits.

    Inside by the guard band or more is a pass, inside by less a conditional pass,
    outside by no more than the guard band a conditional fail, outside by more a fail.
    A value on a limit is inside: the intervals of the source share their ends, and an
    end counts for the better outcome.

    Raises :class:`ValueError` without a limit, with limits upside down, or with a
    guard band below zero.

    >>> ten, band = Decimal(10), Decimal("0.6")
    >>> judge(Decimal("10.4"), lower=None, upper=ten, guard_band=band).label
    'conditional fail'
    >>> judge(Decimal("10.7"), lower=None, upper=ten, guard_band=band).label
    'fail'
    """
    if guard_band < 0:
        raise ValueError("A guard band is not below zero.")
    if lower is not None and upper is not None and lower > upper:
        raise ValueError("The lower limit is above the upper one.")
    margins = []
    if lower is not None:
        margins.append(value - lower)
    if upper is not None:
        margins.append(upper - value)
    if not margins:
        raise ValueError("A judgement needs a limit.")
    margin = min(margins)
    if margin >= 0:
        return Verdict.PASS if margin >= guard_band else Verdict.CONDITIONAL_PASS
    return Verdict.CONDITIONAL_FAIL if -margin <= guard_band else Verdict.FAIL


def method_fit(
    lower: Decimal | None, upper: Decimal | None, expanded_uncertainty: Decimal
) -> bool:
    """Say whether a method can tell inside from outside: the window is wider than 2U.

    With one limit only there is always room. Source: follows from ILAC-G8:09/2019,
    4.2.3, whose pass zone is the window less a guard band at each end.

    >>> method_fit(Decimal(8), Decimal(10), Decimal(1))
    False
    """
    if lower is None or upper is None:
        return True
    return upper - lower > 2 * expanded_uncertainty


def explain(
    *,
    name: str,
    unit: str,
    value: Decimal,
    lower: Decimal | None,
    upper: Decimal | None,
    expanded_uncertainty: Decimal,
    guard_band: Decimal | None = None,
    advice: str = "",
    mark: str = ".",
) -> str:
    """Return the judgement as one plain sentence, and one more if the method is unfit.

    ``unit`` is put behind each number as it is (“ %”). ``guard_band`` is that of the
    rule, U where none is given; what the true value could be is said by U whatever the
    rule. ``advice`` is what to do where it could lie on the other side. The verdict is
    found before rounding, and the uncertainty shown as :func:`spread_shown` has it.

    >>> explain(
    ...     name="pH", unit="", value=Decimal("9.8"), lower=Decimal(8),
    ...     upper=Decimal(10), expanded_uncertainty=Decimal("0.6"),
    ...     advice="use the meter",
    ... )
    'pH 9.8 ± 0.6 lies inside 8 to 10, but the true value could be up to 10.4: \
conditional pass; use the meter.'
    """

    def show(number: Decimal) -> str:
        return format_number(number, mark=mark) + unit

    band = expanded_uncertainty if guard_band is None else guard_band
    verdict = judge(value, lower=lower, upper=upper, guard_band=band)
    spread = spread_shown(value, lower, upper, expanded_uncertainty)
    ends = doubtful_ends(
        value, lower=lower, upper=upper, expanded_uncertainty=expanded_uncertainty
    )
    doubt = " or ".join(f"{words} {show(end)}" for words, end in ends)
    return (
        f"{name} {show(value)}"
        + (f" ± {show(spread)}" if spread else "")
        + f" lies {'inside' if verdict.acceptable else 'outside'} "
        + _limits(lower, upper, show)
        + (f", but the true value could be {doubt}" if doubt else "")
        + f": {verdict.label}"
        + (f"; {advice}." if advice and doubt else ".")
        + ("" if method_fit(lower, upper, expanded_uncertainty) else UNFIT)
    )


def spread_shown(
    value: Decimal,
    lower: Decimal | None,
    upper: Decimal | None,
    expanded_uncertainty: Decimal,
) -> Decimal:
    """Return U to stand beside ``value``: two digits, rounded up, or more if need be.

    Rounded up (GUM 7.2.6) U can reach over a limit that value ± U does not reach, and
    the numbers would deny the outcome beside them. It then keeps as many digits as it
    takes. Raises :class:`.InputError` for an uncertainty below zero.

    >>> ten = Decimal("10.4")
    >>> spread_shown(Decimal("10.3419"), None, ten, Decimal("0.0581"))
    Decimal('0.0581')
    >>> spread_shown(Decimal("10.3"), None, ten, Decimal("0.0581"))
    Decimal('0.059')
    """

    def outcomes(spread: Decimal) -> list[Verdict]:
        sides = [(lower, None), (None, upper)]
        return [
            judge(value, lower=low, upper=high, guard_band=spread)
            for low, high in sides
            if low is not None or high is not None
        ]

    shown = rounded_up(expanded_uncertainty)
    for digits in range(SHOWN_DIGITS, len(expanded_uncertainty.as_tuple().digits) + 1):
        shown = rounded_up(expanded_uncertainty, digits=digits)
        if outcomes(shown) == outcomes(expanded_uncertainty):
            break
    return shown


def doubtful_ends(
    value: Decimal,
    *,
    lower: Decimal | None,
    upper: Decimal | None,
    expanded_uncertainty: Decimal,
) -> list[tuple[str, Decimal]]:
    """Return which ends of value ± U lie on the other side of a limit, with words.

    None where the whole of value ± U lies inside, or all of it outside by more than U.
    An end is that of U as :func:`spread_shown` has it. Raises as :func:`judge` does.

    >>> doubtful_ends(
    ...     Decimal("9.8"), lower=None, upper=Decimal(10),
    ...     expanded_uncertainty=Decimal("0.6"),
    ... )
    [('up to', Decimal('10.40'))]
    """
    spread = spread_shown(value, lower, upper, expanded_uncertainty)
    down, up = ("down to", value - spread), ("up to", value + spread)
    doubt = judge(value, lower=lower, upper=upper, guard_band=expanded_uncertainty)
    if doubt is Verdict.CONDITIONAL_PASS:
        can_be_low = lower is not None and value - spread < lower
        can_be_high = upper is not None and value + spread > upper
        return [down] * can_be_low + [up] * can_be_high
    if doubt is Verdict.CONDITIONAL_FAIL:
        is_low = lower is not None and value < lower
        return [up if is_low else down]
    return []


def _limits(
    lower: Decimal | None, upper: Decimal | None, show: Callable[[Decimal], str]
) -> str:
    shown = " to ".join(show(limit) for limit in (lower, upper) if limit is not None)
    if lower is None:
        return f"the limit of at most {shown}"
    if upper is None:
        return f"the limit of at least {shown}"
    return shown
