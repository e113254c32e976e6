"""The mass of a filling: before = filled + lost + sample + rest + unexplained.

Whole milligrams throughout, so that it closes to the last of them.
"""

from __future__ import annotations

import dataclasses
from decimal import Decimal

from django.db.models import Sum

from batches.models import Batch, BulkWeighing, FillingBalance, FillingLot
from batches.services.portion_books import portions_of
from producer.errors import Refusal
from producer.models import StockMovement, User
from producer.quantities import A_GRAM, format_mass
from producer.services import stock as ledger

# From here on a difference is explained by a person, and what is more than there can be
# is taken for a slip. Common practice, no source: bottles are filled to a line, so that
# a hundredth more or less in each is nothing, and two weighings on a scale that shows
# grams differ by a few.
SHARE = Decimal("0.02")
SOME_GRAMS_MG = 5 * A_GRAM
COLDEST, HOTTEST = Decimal(0), Decimal(90)
LABEL_TEMPERATURE = Decimal(20)  # nominal quantities are at 20 °C: 76/211/EEC, Annex I


@dataclasses.dataclass(frozen=True, kw_only=True)
class Told:
    """What was said of a filling besides its bottles.

    ``rest_mg`` is everything of the batch that is left, as weighed, or None where the
    book is believed. ``of_density`` is what is kept of a density that is not that of
    the book. ``temperature`` is that of the liquid in °C.
    """

    planned: int
    sample_mg: int = 0
    rest_mg: int | None = None
    reason: str = ""
    of_density: str = ""
    temperature: Decimal | None = None


def check(told: Told, loss_mg: int) -> None:
    """Refuse masses below zero and an impossible temperature."""
    for field, mass in (
        ("loss_mg", loss_mg),
        ("sample_mg", told.sample_mg),
        ("rest_mg", told.rest_mg),
    ):
        if mass is not None and mass < 0:
            raise Refusal("A mass cannot be below zero. Weigh again.", field=field)
    if told.temperature is not None and not COLDEST <= told.temperature <= HOTTEST:
        raise Refusal(
            f"Soap is filled between {COLDEST} and {HOTTEST} °C. Check the number.",
            field="temperature",
        )


def most_unsaid(before_mg: int) -> int:
    """Return up to how many milligrams nobody has to say anything.

    >>> most_unsaid(12_000_000), most_unsaid(100_000)
    (240000, 5000)
    """
    return max(int(before_mg * SHARE), SOME_GRAMS_MG)


def record(
    *, by: User, lot: FillingLot, drawn: StockMovement, told: Told
) -> FillingBalance:
    """Record where the mass went, and set the book to the rest if that was weighed.

    ``drawn`` is what the filling took. Callers hold the transaction and write the
    journal. Refuses a rest that nobody explained, or that cannot be.
    """
    row = FillingBalance(
        filling_lot=lot,
        planned=told.planned,
        before_mg=drawn.balance_mg - drawn.amount_mg,
        sample_mg=told.sample_mg,
        rest_mg=told.rest_mg,
        unexplained_mg=_unexplained(lot.batch, drawn, told),
        reason=" ".join(filter(None, (told.reason.strip(), told.of_density))),
        temperature=told.temperature,
        observed_at=lot.observed_at,
        entered_by=by,
    )
    row.full_clean()
    row.save(force_insert=True)
    if row.unexplained_mg:
        _set_book(by, lot, row, told.reason.strip())
    return row


def is_warm(temperature: Decimal) -> bool:
    """Say whether it was filled warmer than the label means."""
    return temperature > LABEL_TEMPERATURE


def _unexplained(batch: Batch, drawn: StockMovement, told: Told) -> int:
    if told.rest_mg is None:
        return 0
    book_mg = drawn.balance_mg  # what the book says is left
    aside_mg = sum(one.left_mg for one in portions_of(batch) if one.left_mg > 0)
    if told.rest_mg < aside_mg:
        raise Refusal(
            f"{format_mass(aside_mg)} of it stand aside in portions, so no less than"
            " that can be left. Weigh the portions too, or amend them first.",
            field="rest_mg",
        )
    unexplained = book_mg - told.rest_mg
    unsaid = most_unsaid(drawn.balance_mg - drawn.amount_mg)
    if unexplained < -unsaid:
        raise Refusal(
            f"By the book {format_mass(book_mg)} can be left, and"
            f" {format_mass(told.rest_mg)} were weighed: more than there can be. Look"
            " at the tare and the unit, at the number of bottles and at the density.",
            field="rest_mg",
        )
    if unexplained < 0:
        _no_mass_from_nothing(batch, -unexplained)
    if (unexplained < 0 or unexplained > unsaid) and not told.reason.strip():
        difference = format_mass(abs(unexplained))
        more_or_less = "more" if unexplained < 0 else "less"
        raise Refusal(
            f"By the book {format_mass(book_mg)} are left, and"
            f" {format_mass(told.rest_mg)} were weighed, {difference} {more_or_less}."
            " Say what became of it: spilt, overfilled, a heavy tare.",
            field="unexplained_reason",
        )
    return unexplained


def _no_mass_from_nothing(batch: Batch, gain_mg: int) -> None:
    """Refuse what would make the gains of all fillings more than one may be.

    Each may be a heavy tare; a tare that is heavy every time is soap from nothing.
    """
    of_batch = FillingBalance.objects.filter(filling_lot__batch=batch)
    before = of_batch.filter(unexplained_mg__lt=0)
    gained_mg = -before.aggregate(all=Sum("unexplained_mg", default=0))["all"]
    weighings = BulkWeighing.objects.current().filter(batch=batch)
    made_mg = weighings.aggregate(all=Sum("net_mg", default=0))["all"]
    most_mg = most_unsaid(made_mg)
    if gained_mg + gain_mg > most_mg:
        raise Refusal(
            f"The fillings of batch {batch.number} gained {format_mass(gained_mg)}"
            f" before, with this one {format_mass(gained_mg + gain_mg)}. Of"
            f" {format_mass(made_mg)} made no more than {format_mass(most_mg)} can be"
            " an error of weighing. Look at the tare and the scale, and weigh the rest"
            " anew.",
            field="rest_mg",
        )


def _set_book(by: User, lot: FillingLot, row: FillingBalance, reason: str) -> None:
    """Set the book to what was weighed; otherwise the next filling starts wrong."""
    ledger.move(
        by=by,
        stock=lot.batch.stock,
        kind=StockMovement.Kind.ADJUSTMENT,
        amount_mg=-row.unexplained_mg,
        observed_at=lot.observed_at,
        purpose=lot.code,
        reason=reason or f"weighed as left over after filling {lot.code}",
    )
