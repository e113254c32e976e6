"""What came out of a batch, its soap content with ± and the budget behind it.

The values are those of :mod:`batches.services.outcome`, in Decimal. Here the same
reaction runs once more as a formula of its inputs: figures and masses as in the alkali
balance, the mass of the product, and what was lost. Floats: see
:mod:`quality.statistics.budgets`.

A paste that went in counts with its own content and the uncertainty of that, as one
input. What it brings along besides soap, free alkali or oil, counts as exact: it is
small beside the soap.

Where potash and oils just match, the formula has a corner. Each side of it has a budget
of its own; where the two lie within three u of their difference, the same as |E| below
3·u(E), the content is the lesser of both, see :mod:`quality.statistics.corner`. The ±
of a scale counts in the way that is less certain, see
:mod:`quality.services.alkali.inputs`.
"""

from __future__ import annotations

import dataclasses
import enum
from collections.abc import Callable, Mapping
from decimal import Decimal
from typing import Any

from batches.chemistry.outcome import (
    GLYCEROL_PER_KOH,
    WATER_PER_KOH,
    Pot,
    content_percent,
    lesser,
    reaction,
)
from batches.chemistry.yields import LossSplit
from batches.models import Batch, BulkWeighing, Charge, Loss
from batches.services.outcome import NotKnownError, Outcome, Rows, notes_on
from producer.models import Stock
from producer.quantities import format_number, grams
from quality.services.alkali.formula import bias_name, bias_origin, formula_of
from quality.services.alkali.inputs import NotKnownError as NoFigureError
from quality.services.alkali.inputs import Pot as Balance
from quality.services.alkali.inputs import Role, portion_of
from quality.statistics.budgets import Budget, Quantity, budget, rectangular, triangular
from quality.statistics.corner import is_near, lesser_budget

_GLYCEROL, _WATER = float(GLYCEROL_PER_KOH), float(WATER_PER_KOH)


@dataclasses.dataclass(frozen=True, kw_only=True)
class CameOut:
    """What came out of a batch, with the ± of its soap content where that is known.

    ``lowest`` is the content in % if nothing that is missing, here or in a paste, was
    water; None where that is not in doubt.
    """

    outcome: Outcome
    soap_content: Budget | None
    lowest: Decimal | None
    notes: list[str]


@dataclasses.dataclass(frozen=True, kw_only=True)
class Worked:
    """A soap content in %; ``at_corner`` says that oil and potash just match."""

    budget: Budget
    at_corner: bool


def came_out(batch: Batch, *, mark: str = ".") -> CameOut:
    """Return what came out of a batch and how well its soap content is known.

    ``mark`` is the decimal mark of the notes.
    """
    rows = Rows(batch)
    found = rows.outcome(batch.pk)
    notes = notes_on(found, mark=mark)
    worked, contents = None, _Contents(rows)
    try:
        worked = contents.worked(batch.pk)
    except NoFigureError as reason:
        notes.append(f"How well the soap content is known cannot be said: {reason}")
    if worked and worked.at_corner and found.soap_content is not None:
        by_masses = format_number(found.soap_content, mark=mark, places=2)
        notes.append(
            "Potash and oils just match, and soap comes of whichever is less."
            " Value and ± of the soap content take account of that, so it lies"
            f" below the {by_masses} % of the masses as they stand."
        )
    return CameOut(
        outcome=found,
        soap_content=worked.budget if worked else None,
        lowest=contents.lowest(batch.pk),
        notes=notes,
    )


class _Contents:
    """The soap contents of a batch and of those above it, each worked out once."""

    def __init__(self, rows: Rows) -> None:
        self._rows = rows
        self._known: dict[int, Worked | None] = {}
        self._lowest: dict[int, Decimal | None] = {}

    def worked(self, batch_id: int) -> Worked | None:
        """Return the soap content of one of these batches; None if nothing came out.

        Those above it come first, one by one, however deep they lie.
        """
        if batch_id not in self._known and self._rows.outcome(batch_id).made:
            for one in [*self._rows.in_order, batch_id]:
                if one not in self._known:
                    self._known[one] = self._work_out(one)
        return self._known.get(batch_id)

    def lowest(self, batch_id: int) -> Decimal | None:
        """Return what the content may be down to; None where nothing is in doubt."""
        if batch_id not in self._lowest:
            for one in [*self._rows.in_order, batch_id]:
                if one not in self._lowest:
                    self._lowest[one] = self._work_out_lowest(one)
        return self._lowest[batch_id]

    def _work_out_lowest(self, batch_id: int) -> Decimal | None:
        found = self._rows.outcome(batch_id)
        if found.made is None or found.split is None or not found.made.soap:
            return None
        soap = found.made.soap
        for row in self._rows.charges[batch_id]:
            lowest = self._lowest.get(row.source_id)  # of a paste
            if lowest is not None:
                at_least = grams(row.net_mg) * lowest / 100
                soap -= self._rows.brought_along(row).soap - at_least
        if soap == found.made.soap and not found.split.either:
            return None
        return Decimal(content_percent(soap, found.made.total + found.split.either))

    def _work_out(self, batch_id: int) -> Worked | None:
        found = self._rows.outcome(batch_id)
        if found.made is None or found.split is None or not found.made.soap:
            return None
        both = (
            _worked(self._formula(batch_id, found.split, apart=apart))
            for apart in (False, True)
        )
        return max(both, key=lambda one: one.budget.standard_uncertainty)

    def _formula(self, batch_id: int, split: LossSplit, *, apart: bool) -> _Formula:
        charges = self._rows.charges[batch_id]
        formula = _Formula.of(
            charges, self._brought(charges), self._acid_need(charges), apart=apart
        )
        formula.add_pastes([row for row in charges if _is_paste(row)], self._known)
        formula.add_product(
            self._rows.weighings[batch_id], self._rows.losses.get(batch_id, []), split
        )
        return formula

    def _brought(self, charges: list[Charge]) -> Pot:
        pots = (self._rows.brought_along(row) for row in charges if _is_paste(row))
        return sum(pots, Pot())

    def _acid_need(self, charges: list[Charge]) -> float:
        known = [(row, self._rows.acid_value(row)) for row in charges]
        return (
            sum(
                row.net_mg * float(min(value, row.figure or Decimal(0)))
                for row, value in known
                if value is not None
            )
            / 1e6
        )  # milligrams × mg/g to grams


class _Side(enum.Enum):
    """A side of the corner: potash is enough for the oil, or it is short."""

    ENOUGH = enum.auto()
    SHORT = enum.auto()


def _worked(formula: _Formula) -> Worked:
    """Return the content of a formula, of the lesser of two sides where both count."""
    if formula.terms:
        enough, short = (
            budget(formula.along(side), formula.quantities, unit="%") for side in _Side
        )
        if is_near(enough, short):
            return Worked(budget=lesser_budget(enough, short), at_corner=True)
    plain = budget(formula, formula.quantities, unit="%")
    return Worked(budget=plain, at_corner=False)


@dataclasses.dataclass
class _Formula:
    """Soap in percent of the product, one argument for each quantity.

    ``apart`` takes the ± of a scale for each mass on its own.
    """

    quantities: list[Quantity]
    terms: list[tuple[Role, int, int | None, int]]
    brought: Pot
    acid_need: float
    pastes: list[tuple[int, int | None, int]]
    product: list[int]
    apart: bool
    product_constant: float = 0.0

    @classmethod
    def of(
        cls, charges: list[Charge], brought: Pot, acid_need: float, *, apart: bool
    ) -> _Formula:
        """Return the formula of what was weighed in of raw lots."""
        portions = [
            portion_of(row)
            for row in charges
            if row.figure is not None and not _is_paste(row)
        ]
        known = formula_of(
            Balance(portions=portions, other_mg=0, paste_mg=0, cooked=True),
            apart=apart,
        )
        return cls(
            quantities=list(known.quantities),
            terms=known.terms,
            brought=brought,
            acid_need=acid_need + float(brought.acid_need),
            pastes=[],
            product=[],
            apart=apart,
        )

    def add_pastes(
        self, charges: list[Charge], contents_of: Mapping[int, Worked | None]
    ) -> None:
        """Add what went in of other batches: their content, and their mass."""
        contents: dict[int, int] = {}
        for row in charges:
            if row.source_id not in contents:
                worked = contents_of.get(row.source_id)
                if worked is None:
                    raise NotKnownError(f"What {row.source.code} holds is not known.")
                found = worked.budget
                contents[row.source_id] = self._add(
                    Quantity(
                        name=f"soap content of {row.source.code}",
                        value=found.value,
                        standard_uncertainty=found.standard_uncertainty,
                        degrees_of_freedom=found.degrees_of_freedom,
                        unit="%",
                        origin="its own budget",
                    )
                )
            mass, bias = self._weighed(
                f"mass of {row.source.code}, charge {row.pk}", row
            )
            self.pastes.append((mass, bias, contents[row.source_id]))

    def add_product(
        self, bulk: BulkWeighing, losses: list[Loss], split: LossSplit
    ) -> None:
        """Add what came out, and what was lost of it with its soap."""
        mass, bias = self._weighed("mass of the product", bulk)
        self.product += [mass] if bias is None else [mass, bias]
        for loss in losses:
            if loss.kind == Loss.Kind.EVAPORATION:
                continue
            self.product.append(
                self._add(
                    rectangular(
                        f"loss {loss.pk}: {loss.get_kind_display()}",
                        loss.mass_mg / 1000,
                        loss.half_width_mg / 1000,
                        unit="g",
                        origin=loss.note,
                    )
                )
            )
        unexplained = float(split.of_product - split.known)
        if split.evaporated is None:
            self.product_constant += unexplained
        elif unexplained:
            self.product.append(
                self._add(
                    rectangular(
                        "unexplained, product or water",
                        unexplained,
                        unexplained,
                        unit="g",
                        origin="anything from all water to all product",
                    )
                )
            )

    def along(self, side: _Side) -> Callable[..., Any]:
        """Return the formula of one side of the corner, also beyond it."""
        return lambda *values: self._content(values, side)

    def __call__(self, *values: Any) -> Any:
        """Return soap in percent of the product for these values of the inputs."""
        return self._content(values, None)

    def _content(self, values: tuple[Any, ...], side: _Side | None) -> Any:
        sides: dict[Role, Any] = dict.fromkeys(Role, 0.0)
        oil = float(self.brought.oil)
        for role, mass, bias, figure in self.terms:
            net = _net(values, mass, bias)
            per = 1e-3 if role is Role.OIL else 1.0
            sides[role] = sides[role] + net * values[figure] * per
            oil = oil + net if role is Role.OIL else oil
        soap = sum(
            values[content] / 100 * _net(values, mass, bias)
            for mass, bias, content in self.pastes
        )
        soap = self._with_own(soap, sides, oil, side)
        product = sum(values[place] for place in self.product) + self.product_constant
        return soap * 100 / product

    def _with_own(
        self, soap: Any, sides: dict[Role, Any], oil: Any, side: _Side | None
    ) -> Any:
        """Return the soap brought along and that of the oils and potash here."""
        need = sides[Role.OIL] + float(self.brought.need)
        free = sides[Role.POTASH] + float(self.brought.koh)
        bound: Any = float(self.brought.bound)
        if self.terms and _middle(need) > 0:
            out = reaction(
                oil=oil,
                need=need,
                acid_need=self.acid_need,
                koh=free,
                glycerol_per_koh=_GLYCEROL,
                water_per_koh=_WATER,
                used=self._used(need, free, side),
            )
            soap, bound, free = soap + out.soap, bound + out.used, free - out.used
        if side is _Side.ENOUGH:
            return soap
        over = sides[Role.ACID] - free
        if side is None:
            over = over - lesser(over, 0.0)  # acid beyond the free alkali splits soap
        return soap - over * soap / bound

    def _used(self, need: Any, free: Any, side: _Side | None) -> Any:
        """Return the KOH that oil takes up.

        With acid in the pot the corner is where acid begins to split soap, and all oil
        has its potash on both sides of it.
        """
        if side is None:
            return lesser(need, free)
        sours = any(role is Role.ACID for role, *_ in self.terms)
        all_reacts = sours and _middle(need) < _middle(free)
        return need if side is _Side.ENOUGH or all_reacts else free

    def _weighed(self, name: str, row: Charge | BulkWeighing) -> tuple[int, int | None]:
        """Add a net mass, and the ± of its scale once for all masses on it."""
        scale = row.scale
        mass = self._add(
            triangular(
                name,
                row.net_mg / 1000,
                scale.resolution,
                unit="g",
                origin=f"weighed on {scale.name}",
            )
        )
        if not scale.bias_half_width:
            return mass, None
        bias = bias_name(scale.name, name if self.apart else "")
        for place, quantity in enumerate(self.quantities):
            if quantity.name == bias:
                return mass, place
        origin = bias_origin(apart=self.apart)
        return mass, self._add(
            rectangular(bias, 0, scale.bias_half_width, unit="g", origin=origin)
        )

    def _add(self, quantity: Quantity) -> int:
        self.quantities.append(quantity)
        return len(self.quantities) - 1


def _net(values: Any, mass: int, bias: int | None) -> Any:
    return values[mass] if bias is None else values[mass] + values[bias]


def _middle(value: Any) -> float:
    """Return the value, its middle, or the mean of an array of draws."""
    if hasattr(value, "mean"):
        return float(value.mean())
    return float(getattr(value, "nominal_value", value))


def _is_paste(row: Charge) -> bool:
    return row.source.kind != Stock.Kind.LOT
