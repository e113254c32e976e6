"""Excess alkali of a batch: E ± u, the risks of it, and what would lower them.

By the weighings, before the cook and after it; and by a titration of the free alkali
where there is one, which says more about alkali and nothing about oil.
"""

from __future__ import annotations

import dataclasses
import math
from decimal import ROUND_UP, Decimal

from batches.chemistry import excess as chemistry
from batches.chemistry.constants import PERCENT
from batches.chemistry.errors import ChemistryError
from batches.models import Batch
from batches.services.entries import Entries
from producer.errors import Refusal
from producer.models import Premises
from quality.models import Characteristic, Limit
from quality.services.alkali.inputs import NotKnownError, pot_of
from quality.services.alkali.titrated import Titrated, last_titration, titrated
from quality.services.alkali.weighed import Weighed, weighed_in
from quality.services.limits import limit_for

SHOWN_DISCOUNTS = (0.0, 0.01, 0.02, 0.03, 0.04, 0.05)


@dataclasses.dataclass(frozen=True, kw_only=True)
class Alkali:
    """What is known of the excess alkali of a batch, each way that it is known.

    ``why_not`` says why there is no balance by the weighings, or is empty;
    ``titration_note`` says why a titration does not count, or is empty. ``own_limit``
    is the limit of free alkali of the formula version, if it has one: its upper side
    then stands in ``limits`` in place of the figure of the premises.
    """

    weighed: Weighed | None
    why_not: str
    titrated: Titrated | None
    titration_note: str
    limits: chemistry.Limits
    warn: float
    stop: float
    own_limit: Limit | None = None

    @property
    def level(self) -> str:
        """“stop”, “warn”, “good”, or nothing where no risk is known.

        A titration decides about alkali where there is one; oil is only by weighing.
        """
        risk = self.risk
        if risk is None:
            return ""
        return "stop" if risk >= self.stop else "warn" if risk >= self.warn else "good"

    @property
    def over(self) -> float | None:
        """The risk of too much free alkali, by the titration if there is one."""
        if self.titrated is not None:
            return self.titrated.over
        return self.weighed.risks.over if self.weighed else None

    @property
    def under(self) -> float | None:
        """The risk of too much unsaponified oil, by the weighings."""
        return self.weighed.risks.under if self.weighed else None

    @property
    def risk(self) -> float | None:
        """The larger of the two risks that are known."""
        return max(
            (one for one in (self.over, self.under) if one is not None), default=None
        )

    @property
    def needs_reason(self) -> bool:
        """Say whether a release must say why: a risk, or two ways that disagree."""
        return self.is_risky or self.disagree

    @property
    def disagree(self) -> bool:
        """Say whether titration and weighings differ by more than U of the difference.

        Then a mass, a figure or the titration is wrong, or not all has reacted.
        """
        if self.weighed is None or self.titrated is None:
            return False
        one, other = self.weighed.budget, self.titrated.budget
        spread = math.hypot(one.expanded_uncertainty, other.expanded_uncertainty)
        return abs(one.value - other.value) > spread

    @property
    def is_risky(self) -> bool:
        """Say whether a risk is at the level to stop and no titration has looked at it.

        A titration looks at alkali; of oil only the weighings know anything.
        """
        if self.titrated is None:
            return self.level == "stop"
        return (self.under or 0.0) >= self.stop

    def discount(self) -> float | None:
        """Return the least lye discount that brings P(over) under the warning level.

        A share, rounded up to a tenth of a percent. None where the potash is in the
        pot or there is nothing to lower; raises :class:`.DiscountError` where no
        discount does it.
        """
        charge = self.weighed.charge if self.weighed else None
        if charge is None or self.weighed is None:
            return None
        if self.weighed.risks.over < self.warn:
            return None
        exact = charge.discount_for(self.warn, self.limits)
        up = Decimal(exact).quantize(Decimal("0.001"), ROUND_UP)
        return min(float(up), chemistry.HIGHEST_DISCOUNT)


@dataclasses.dataclass(frozen=True, kw_only=True)
class Row:
    """What a lye discount, a share, would do: E in grams of KOH and both risks."""

    discount: float
    excess_g: float
    risks: chemistry.Risks


def discount_rows(alkali: Alkali, *, current: Decimal = Decimal(0)) -> list[Row]:
    """Return what discounts of 0 to 5 %, and the current one, do.

    None once potash is in the pot.
    """
    charge = alkali.weighed.charge if alkali.weighed else None
    if charge is None:
        return []
    return [
        Row(
            discount=share,
            excess_g=charge.excess_g(share),
            risks=charge.risks(share, alkali.limits),
        )
        for share in sorted({*SHOWN_DISCOUNTS, float(current)})
    ]


def alkali_of(
    batch: Batch, *, to_the_full: bool = False, entries: Entries | None = None
) -> Alkali:
    """Return E of a batch by weighing and by titration, with risks and limits.

    From what is weighed so far, and for the rest from the plan with the lots chosen.
    ``to_the_full`` also counts the last grams of potash still to be weighed.
    ``entries`` are the rows of the batch, where the caller has read them already.
    """
    entries = entries or Entries(batch)
    premises = Premises.objects.get()
    own = limit_for(batch, Characteristic.FREE_ALKALI)
    most = premises.free_alkali_limit_percent
    if own is not None and own.upper is not None:
        most = own.upper
    limits = chemistry.Limits(
        free_alkali_percent=float(most),
        unsaponified_percent=float(premises.unsaponified_limit_percent),
    )
    weighed, why_not = None, ""
    try:
        pot = pot_of(entries, to_the_full=to_the_full)
        weighed = weighed_in(batch, pot, limits)
    except NotKnownError as reason:
        why_not = str(reason)
    except Refusal as refusal:  # a certificate revised since the lot was chosen
        why_not = refusal.message
    except ChemistryError as error:
        why_not = str(error)
    titration, note = last_titration(entries)
    return Alkali(
        weighed=weighed,
        why_not=why_not,
        titrated=titrated(entries, titration, limits) if titration else None,
        titration_note=note,
        limits=limits,
        warn=float(premises.risk_to_warn_percent / PERCENT),
        stop=float(premises.risk_to_stop_percent / PERCENT),
        own_limit=own,
    )
