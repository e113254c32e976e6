"""What came out of a batch, substance by substance, from the masses on the scale.

Read for the batch and for all that went into it at once: a paste three deep costs no
more questions than a cook. The ± of it is in ``quality.services.outcome``.
"""

from __future__ import annotations

import dataclasses
import datetime
from collections import defaultdict
from decimal import Decimal
from functools import cached_property
from graphlib import TopologicalSorter

from batches import trace
from batches.chemistry.errors import ChemistryError
from batches.chemistry.outcome import (
    GLYCEROL_PER_KOH,
    WATER_PER_KOH,
    Pot,
    acid_charge,
    content_percent,
    oil_charge,
    potash_charge,
    react,
    weighing,
)
from batches.chemistry.yields import LossSplit, split_losses
from batches.models import Batch, BulkWeighing, Charge, Loss, Titration
from producer.models import Material, Stock
from producer.quantities import format_mass, format_number, grams, milligrams

_LOT = Stock.Kind.LOT


@dataclasses.dataclass(frozen=True, kw_only=True)
class Outcome:
    """What a batch holds and where the rest went; grams.

    ``pot`` is all that went in, reacted as far as it can; None where that is not known,
    and ``why_not`` says why. ``made`` is the same as it came out, with what boiled off
    taken out and what was lost as product still in; ``split`` says where the mass went.
    Both are None until the yield is weighed. ``no_acid_value`` says that free fatty
    acid was taken as none in some oil, ``has_rework`` that a rejected batch went into
    it or into one above it, so that its alkali is not known by weighing.
    """

    pot: Pot | None
    made: Pot | None
    split: LossSplit | None
    why_not: str
    no_acid_value: bool
    has_rework: bool = False

    @property
    def soap_content(self) -> Decimal | None:
        """Soap in percent by mass of what came out."""
        if self.made is None:
            return None
        return Decimal(content_percent(self.made.soap, self.made.total))

    @property
    def fatty_matter_content(self) -> Decimal | None:
        """Total fatty matter in percent by mass of what came out."""
        if self.made is None:
            return None
        return Decimal(content_percent(self.made.fatty_matter, self.made.total))

    @property
    def lowest_soap_content(self) -> Decimal | None:
        """The soap content if nothing of what is missing was water."""
        if self.made is None or self.split is None or self.pot is None:
            return None
        product = self.made.total + self.split.either
        return Decimal(content_percent(self.made.soap, product))


@dataclasses.dataclass(frozen=True, kw_only=True)
class SoapContent:
    """Soap in percent by mass; None where it is not known, with the sentence why."""

    percent: Decimal | None
    sentence: str


def soap_content_of(batch: Batch) -> SoapContent:
    """Return the soap content of a batch, found back through all it was made from."""
    found = outcome_of(batch)
    return SoapContent(percent=found.soap_content, sentence=found.why_not)


def outcome_of(batch: Batch) -> Outcome:
    """Return what came out of a batch, or why that is not known."""
    return Rows(batch).outcome(batch.pk)


class NotKnownError(Exception):
    """What a batch holds cannot be said; the message says why."""


class SourceNotKnownError(NotKnownError):
    """What went in cannot be said; the message names the batch where it begins."""


class Rows:
    """The rows of a batch and of every batch above it, each table asked once."""

    def __init__(self, batch: Batch) -> None:
        self.ids = trace.upstream_ids(batch.pk)
        self._known: dict[int, Outcome] = {}
        self._by_source: set[int] = set()

    @cached_property
    def _entered(self) -> dict[int, Charge]:
        """Every charge by id, the superseded too, in the order of entry."""
        rows = (
            Charge.objects.filter(batch__in=self.ids)
            .select_related("source__lot__material", "scale")
            .order_by("pk")
        )
        return {row.pk: row for row in rows}

    @cached_property
    def charges(self) -> dict[int, list[Charge]]:
        """The current charges by batch."""
        superseded = {row.supersedes_id for row in self._entered.values()}
        found: dict[int, list[Charge]] = defaultdict(list)
        for row in self._entered.values():
            if row.pk not in superseded and not row.is_void:
                found[row.batch_id].append(row)
        return found

    @cached_property
    def in_order(self) -> list[int]:
        """The batches that anything is in, each after all that went into it.

        Who goes through them in this order needs no recursion, however deep they lie.
        """
        return list(
            TopologicalSorter(
                {
                    batch_id: {row.source_id for row in rows if row.source.kind != _LOT}
                    for batch_id, rows in self.charges.items()
                }
            ).static_order()
        )

    @cached_property
    def weighings(self) -> dict[int, BulkWeighing]:
        """The current weighing of the yield by batch."""
        rows = BulkWeighing.objects.current().filter(batch__in=self.ids)
        return {row.batch_id: row for row in rows.select_related("scale")}

    @cached_property
    def losses(self) -> dict[int, list[Loss]]:
        """The current losses by batch."""
        found: dict[int, list[Loss]] = defaultdict(list)
        for row in Loss.objects.current().filter(batch__in=self.ids):
            found[row.batch_id].append(row)
        return found

    @cached_property
    def _acid_titrations(self) -> dict[int, list[Titration]]:
        """Every acid value by lot, the oldest first, and what takes one back."""
        found: dict[int, list[Titration]] = defaultdict(list)
        rows = Titration.objects.filter(
            stock__in=self.ids, kind=Titration.Kind.ACID_VALUE
        )
        for row in rows.order_by("observed_at", "pk"):
            found[row.stock_id].append(row)
        return found

    def acid_value(self, charge: Charge) -> Decimal | None:
        """Return the acid value of a charge of oil, mg KOH per gram.

        The newest that stood when it was weighed, as with its figure: what is
        titrated, or taken back, later changes nothing of what was made and signed.
        """
        rows = self._acid_titrations.get(charge.source_id, [])
        at = self._figured_at(charge)
        known = [row for row in rows if row.entered_at <= at]
        taken_back = {row.supersedes_id for row in known}
        values = [
            row.value
            for row in known
            if row.value is not None and row.pk not in taken_back
        ]
        return values[-1] if values else None

    def _figured_at(self, charge: Charge) -> datetime.datetime:
        """Return when the figures of a charge were taken: a correction keeps them."""
        while charge.supersedes_id is not None:
            former = self._entered[charge.supersedes_id]
            if former.source_id != charge.source_id:
                break
            charge = former
        return charge.entered_at

    @cached_property
    def has_rework(self) -> bool:
        """Whether one of these batches is a rework."""
        return Batch.objects.filter(pk__in=self.ids, is_rework=True).exists()

    def outcome(self, batch_id: int) -> Outcome:
        """Return what came out of one of these batches."""
        if batch_id not in self._known:
            for one in [*self.in_order, batch_id]:
                if one not in self._known:
                    self._known[one] = self._outcome(one)
        return self._known[batch_id]

    def brought_along(self, charge: Charge) -> Pot:
        """Return what a charge of another batch brings along."""
        source = self.outcome(charge.source_id)
        if source.made is not None:
            return source.made.part(grams(charge.net_mg) / source.made.total)
        if charge.source_id in self._by_source:
            raise SourceNotKnownError(source.why_not)
        why = source.why_not or "what came out of it has not been weighed."
        raise SourceNotKnownError(
            f"What {charge.source.code} holds is not known: {why}"
        )

    def _outcome(self, batch_id: int) -> Outcome:
        charges = self.charges.get(batch_id, [])
        no_acid_value = self._lacks_acid_value(charges)
        try:
            pot = self._pot(charges)
        except (NotKnownError, ChemistryError) as error:
            if isinstance(error, SourceNotKnownError):
                self._by_source.add(batch_id)
            return Outcome(
                pot=None,
                made=None,
                split=None,
                why_not=str(error),
                no_acid_value=no_acid_value,
            )
        split, made, why_not = self._what_came_out(batch_id, pot)
        return Outcome(
            pot=pot,
            made=made,
            split=split,
            why_not=why_not,
            no_acid_value=no_acid_value,
            has_rework=self.has_rework,
        )

    def _pot(self, charges: list[Charge]) -> Pot:
        if not charges:
            raise NotKnownError("Nothing has been weighed in yet.")
        pot = react(sum((self._plain(row) for row in charges), Pot()))
        for row in charges:
            if _is_acid(row) and row.figure is not None:
                pot = acid_charge(pot, grams(row.net_mg), row.figure)
        return react(pot)

    def _plain(self, row: Charge) -> Pot:
        """Return a charge as a pot; an acid is left for the end."""
        if row.source.kind != _LOT:
            return self.brought_along(row)
        mass, kind = grams(row.net_mg), row.source.lot.material.kind
        if kind == Material.Kind.WATER:
            return Pot(water=mass)
        if kind == Material.Kind.ADDITION:
            return Pot() if _is_acid(row) else Pot(other=mass)
        if row.figure is None:
            raise NotKnownError(f"{row.source.code} was weighed in without a figure.")
        if kind == Material.Kind.POTASH:
            return potash_charge(mass, row.figure)
        acid_value = min(self.acid_value(row) or Decimal(0), row.figure)
        return oil_charge(mass, row.figure, acid_value=acid_value)

    def _lacks_acid_value(self, charges: list[Charge]) -> bool:
        return any(
            self.acid_value(row) is None
            for row in charges
            if row.source.kind == _LOT
            and row.source.lot.material.kind == Material.Kind.OIL
        )

    def _what_came_out(
        self, batch_id: int, pot: Pot
    ) -> tuple[LossSplit | None, Pot | None, str]:
        bulk = self.weighings.get(batch_id)
        if bulk is None:
            return None, None, "What came out has not been weighed yet."
        split = self._split(batch_id, pot, bulk)
        product = split.came_out + split.of_product
        if product > split.put_in:
            return (
                split,
                None,
                (
                    "More came out than went in, so a weighing is wrong. Check the"
                    " tares and the losses."
                ),
            )
        try:
            return split, weighing(pot, product), ""
        except ChemistryError as error:
            return split, None, str(error)

    def _split(self, batch_id: int, pot: Pot, bulk: BulkWeighing) -> LossSplit:
        losses = self.losses.get(batch_id, [])
        evaporated = [one.mass_mg for one in losses if _is_evaporation(one)]
        known = [one.mass_mg for one in losses if not _is_evaporation(one)]
        went_in = sum(row.net_mg for row in self.charges[batch_id])
        return split_losses(
            put_in_g=grams(went_in),
            came_out_g=grams(bulk.net_mg),
            known_g=grams(sum(known)),
            evaporated_g=grams(sum(evaporated)) if evaporated else None,
            water_g=max(pot.water, Decimal(0)),
        )


def notes_on(found: Outcome, *, mark: str = ".") -> list[str]:
    """Return what was assumed and what stands out, in sentences."""
    notes = []
    if found.has_rework:
        notes.append(
            "A rejected batch went into it, so by the weighings it is not known whether"
            " alkali is short or left over. Titrate the free alkali, and test a portion"
            " in hot water for oil."
        )
    elif found.pot is not None and found.pot.soap and found.pot.oil >= 1:
        notes.append(
            f"By the weighings alkali is short: {_mass(found.pot.oil, mark)} of the"
            " oil cannot become soap, if every figure is right."
        )
    if found.no_acid_value and found.made is not None:
        more = format_number(GLYCEROL_PER_KOH - WATER_PER_KOH, mark=mark, places=2)
        notes.append(
            "Free fatty acid is taken as none where no acid value was titrated; each"
            f" gram of KOH it takes makes {more} g more soap and no glycerol."
        )
    if found.split is not None:
        notes += _notes_on_losses(found, found.split, mark)
    return notes


def _notes_on_losses(found: Outcome, split: LossSplit, mark: str) -> list[str]:
    lowest = found.lowest_soap_content
    notes = []
    if split.either and lowest is not None:
        notes.append(
            f"{_mass(split.either, mark)} is evaporation and unexplained loss together:"
            " the pot was not weighed before and after. It counts as water; if none of"
            " what this batch itself lost was, the soap content is"
            f" {_tenths(lowest, mark)} %."
        )
    if split.is_too_much_unexplained:
        notes.append(
            f"{_mass(split.unexplained, mark)} is unexplained,"
            f" {_tenths(split.unexplained_percent, mark)} % of what went in. Look where"
            " it went: a weighing, a tare, a spill that nobody wrote down."
        )
    return notes


def _mass(mass_g: Decimal, mark: str) -> str:
    return format_mass(milligrams(round(mass_g, 1)), mark=mark)


def _tenths(number: Decimal, mark: str) -> str:
    return format_number(number, mark=mark, places=1)


def _is_acid(row: Charge) -> bool:
    return (
        row.source.kind == _LOT
        and row.source.lot.material.kind == Material.Kind.ADDITION
        and row.figure is not None
    )


def _is_evaporation(row: Loss) -> bool:
    return row.kind == Loss.Kind.EVAPORATION
