"""What came out of a batch, its soap content with ± and the budget behind it.

The values are those of :mod:`batches.services.outcome`, in Decimal. Here the same
reaction runs once more as a formula of its inputs: figures and masses as in the alkali
balance, the mass of the product, and what was lost. Floats: see
:mod:`quality.statistics.budgets`.

A paste that went in counts with its own content and the uncertainty of that, as one
input. What it brings along besides soap, free alkali or oil, counts as exact: it is
small beside the soap.

Where potash and oil just match, the formula has a corner: with a little less of either
there is less soap, with a little more there is not more. The linear budget goes along
one side of it; draws lie lower by 0.4 u of the excess, below half a percent of the
content for oils known by their published ranges. Elsewhere it is nearly straight.
"""

from __future__ import annotations

import dataclasses
from decimal import Decimal
from typing import Any

from batches.chemistry.outcome import (
    GLYCEROL_PER_KOH,
    WATER_PER_KOH,
    Pot,
    lesser,
    reaction,
)
from batches.chemistry.yields import LossSplit
from batches.models import Batch, BulkWeighing, Charge, Loss
from batches.services.outcome import NotKnownError, Outcome, Rows, notes_on
from producer.models import Stock
from quality.services.alkali.formula import formula_of
from quality.services.alkali.inputs import NotKnownError as NoFigureError
from quality.services.alkali.inputs import Pot as Balance
from quality.services.alkali.inputs import Role, portion_of
from quality.statistics.budgets import Budget, Quantity, budget, rectangular, triangular

_GLYCEROL, _WATER = float(GLYCEROL_PER_KOH), float(WATER_PER_KOH)


@dataclasses.dataclass(frozen=True, kw_only=True)
class CameOut:
    """What came out of a batch, with the ± of its soap content where that is known."""

    outcome: Outcome
    soap_content: Budget | None
    notes: list[str]


def came_out(batch: Batch, *, mark: str = ".") -> CameOut:
    """Return what came out of a batch and how well its soap content is known.

    ``mark`` is the decimal mark of the notes.
    """
    rows = Rows(batch)
    found = rows.outcome(batch.pk)
    notes = notes_on(found, mark=mark)
    content = None
    try:
        content = _Contents(rows).budget(batch.pk)
    except NoFigureError as reason:
        notes.append(f"How well the soap content is known cannot be said: {reason}")
    return CameOut(outcome=found, soap_content=content, notes=notes)


class _Contents:
    """The soap contents of a batch and of those above it, each worked out once."""

    def __init__(self, rows: Rows) -> None:
        self._rows = rows
        self._known: dict[int, Budget | None] = {}

    def budget(self, batch_id: int) -> Budget | None:
        if batch_id not in self._known:
            self._known[batch_id] = self._work_out(batch_id)
        return self._known[batch_id]

    def _work_out(self, batch_id: int) -> Budget | None:
        found = self._rows.outcome(batch_id)
        if found.made is None or found.split is None or not found.made.soap:
            return None
        charges = self._rows.charges[batch_id]
        brought = self._brought(charges)
        formula = _Formula.of(charges, brought, self._acid_need(charges))
        formula.add_pastes([row for row in charges if _is_paste(row)], self.budget)
        formula.add_product(
            self._rows.weighings[batch_id],
            self._rows.losses.get(batch_id, []),
            found.split,
        )
        return budget(formula, formula.quantities, unit="%")

    def _brought(self, charges: list[Charge]) -> Pot:
        pots = (self._rows.brought_along(row) for row in charges if _is_paste(row))
        return sum(pots, Pot())

    def _acid_need(self, charges: list[Charge]) -> float:
        values = self._rows.acid_values
        return (
            sum(
                row.net_mg * float(min(values[row.source_id], row.figure or Decimal(0)))
                for row in charges
                if row.source_id in values
            )
            / 1e6
        )  # milligrams × mg/g to grams


@dataclasses.dataclass
class _Formula:
    """Soap in percent of the product, one argument for each quantity."""

    quantities: list[Quantity]
    terms: list[tuple[Role, int, int | None, int]]
    brought: Pot
    acid_need: float
    pastes: list[tuple[int, int | None, int]]
    product: list[int]
    product_constant: float = 0.0

    @classmethod
    def of(cls, charges: list[Charge], brought: Pot, acid_need: float) -> _Formula:
        """Return the formula of what was weighed in of raw lots."""
        portions = [
            portion_of(row)
            for row in charges
            if row.figure is not None and not _is_paste(row)
        ]
        known = formula_of(
            Balance(portions=portions, other_mg=0, paste_mg=0, cooked=True)
        )
        return cls(
            quantities=list(known.quantities),
            terms=known.terms,
            brought=brought,
            acid_need=acid_need + float(brought.acid_need),
            pastes=[],
            product=[],
        )

    def add_pastes(self, charges: list[Charge], content_of: Any) -> None:
        """Add what went in of other batches: their content, and their mass."""
        contents: dict[int, int] = {}
        for row in charges:
            if row.source_id not in contents:
                found: Budget | None = content_of(row.source_id)
                if found is None:
                    raise NotKnownError(f"What {row.source.code} holds is not known.")
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

    def __call__(self, *values: Any) -> Any:
        """Return soap in percent of the product for these values of the inputs."""
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
        soap = self._with_own(soap, sides, oil)
        product = sum(values[place] for place in self.product) + self.product_constant
        return soap * 100 / product

    def _with_own(self, soap: Any, sides: dict[Role, Any], oil: Any) -> Any:
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
            )
            soap, bound, free = soap + out.soap, bound + out.used, free - out.used
        over = sides[Role.ACID] - free
        over = over - lesser(over, 0.0)  # acid beyond the free alkali splits soap
        return soap - over * soap / bound

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
        bias = f"± of the scale {scale.name}"
        for place, quantity in enumerate(self.quantities):
            if quantity.name == bias:
                return mass, place
        return mass, self._add(rectangular(bias, 0, scale.bias_half_width, unit="g"))

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
