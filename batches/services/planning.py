"""Open a batch, choose its lots, and compute what to weigh."""

from __future__ import annotations

import dataclasses
import datetime
import uuid
from collections import defaultdict
from collections.abc import Mapping
from decimal import Decimal

from django.db import transaction
from django.utils import timezone

from batches.chemistry.saponification import Oil, alkali_need, potash_to_weigh
from batches.lifecycle import BatchStatus
from batches.models import (
    Batch,
    BatchStatusChange,
    Charge,
    Formula,
    FormulaLine,
    FormulaVersion,
    LotChoice,
)
from batches.services import diluting, moves, sources
from producer import journal
from producer.errors import Refusal
from producer.models import Material, Premises, RawLot, Right, Stock, User
from producer.quantities import grams, milligrams
from producer.services.checks import local_day, plausible_time, require
from producer.services.numbers import next_code

PER_KG = 1_000_000  # milligrams in a kilogram, the basis of a formula line


@dataclasses.dataclass(frozen=True, kw_only=True)
class PlanLine:
    """One line of the plan: what to weigh, what was weighed, from which stock."""

    line: FormulaLine
    name: str
    kind: str
    target_mg: int | None
    charged_mg: int
    source: Stock | None
    origin: str

    @property
    def to_weigh_mg(self) -> int | None:
        """The target as a kitchen scale can show it: to a tenth of a gram."""
        return None if self.target_mg is None else round(self.target_mg, -2)

    @property
    def remaining_mg(self) -> int | None:
        """What is still to be weighed; None while it cannot be computed."""
        if self.to_weigh_mg is None:
            return None
        return max(self.to_weigh_mg - self.charged_mg, 0)


@dataclasses.dataclass(frozen=True, kw_only=True)
class Plan:
    """What a batch needs, line by line, with the alkali computed from its lots."""

    lines: list[PlanLine]
    alkali_need_g: Decimal | None
    missing: list[str]


@transaction.atomic
def open_batch(
    *,
    by: User,
    formula_version: FormulaVersion,
    basis_mg: int,
    is_rework: bool = False,
    opened_at: datetime.datetime | None = None,
    submission: uuid.UUID | None = None,
) -> Batch:
    """Open a batch of the newest version of a formula.

    ``basis_mg`` is the mass of all oils of a cook, or of the paste of a dilution.
    """
    require(by, Right.MAKER)
    opened_at = plausible_time(opened_at or timezone.now())
    if basis_mg <= 0:
        raise Refusal(
            "A batch needs a mass above zero: all oils of a cook, or the paste of a"
            " dilution.",
            field="basis_mg",
        )
    premises = Premises.objects.get()
    if not premises.poison_centre:
        raise Refusal(
            "Write the poison centre's telephone number on the page “Premises” first:"
            " it is printed in the cautions of every batch."
        )
    formula = formula_version.formula
    if is_rework and formula.kind == Formula.Kind.DILUTION:
        raise Refusal(
            "A rejected batch is reworked in a cook or a blend: only a paste can be"
            " titrated, and what the rejected one brings along is not known otherwise.",
            field="is_rework",
        )
    newest = formula.versions.order_by("-version").first()
    if newest is None or newest.pk != formula_version.pk:
        raise Refusal(
            "A newer version of this formula exists. Open the batch from that one.",
            field="formula_version",
        )
    stock = Stock(kind=Stock.Kind.BATCH, code=next_code("B", local_day(opened_at).year))
    stock.full_clean()
    stock.save()
    batch = Batch(
        stock=stock,
        formula_version=formula_version,
        kind=formula.kind,
        is_rework=is_rework,
        basis_mg=basis_mg,
        maker=by,
        opened_at=opened_at,
    )
    batch.full_clean()
    batch.save(force_insert=True)
    BatchStatusChange.objects.create(
        batch=batch,
        old=BatchStatus.PLANNED,
        new=BatchStatus.PLANNED,
        observed_at=opened_at,
        entered_by=by,
    )
    journal.write(
        by=by,
        act="batch opened",
        subject=batch,
        label=stock.code,
        after={
            "formula": formula.name,
            "formula_version": formula_version.version,
            "basis_mg": basis_mg,
            "is_rework": is_rework,
        },
        submission=submission,
    )
    return batch


@transaction.atomic
def choose_lots(
    *,
    by: User,
    batch: Batch,
    choices: Mapping[int, Stock | None],
    submission: uuid.UUID | None = None,
) -> None:
    """Set which stock each line means to use: formula line id → stock or None."""
    require(by, Right.MAKER)
    batch = moves.still_open(batch)
    if batch.status == BatchStatus.AWAITING_REVIEW:
        raise Refusal("This batch is finished; its lots are what was weighed.")
    lines = {line.pk: line for line in batch.formula_version.lines.all()}
    before = _choices_by_line(batch)
    if choices.keys() - lines.keys():
        raise Refusal("This line belongs to another formula version.", field="line")
    for line_id, source in choices.items():
        batch.lot_choices.filter(line_id=line_id).delete()
        if source is None:
            continue
        sources.check_source(
            batch=batch,
            line=lines[line_id],
            source=source,
            on=local_day(timezone.now()),
        )
        LotChoice.objects.create(batch=batch, line_id=line_id, source=source)
    journal.write(
        by=by,
        act="lots chosen",
        subject=batch,
        label=batch.number,
        before=before,
        after=_choices_by_line(batch),
        submission=submission,
    )


def plan_of(batch: Batch) -> Plan:
    """Return what to weigh, from the lots chosen and from what was weighed so far.

    An oil line that has been charged counts with the masses on the scale and the
    very lots they came from; one that has not counts with its planned mass and the
    lot chosen. So the potash is computed again from what is really in the pot.
    """
    lines = list(
        batch.formula_version.lines.select_related("material", "source_formula")
    )
    chosen = {
        choice.line_id: choice.source
        for choice in batch.lot_choices.select_related(
            "source__lot__material", "source__batch"
        )
    }
    charges: dict[int | None, list[Charge]] = defaultdict(list)
    for charge in Charge.objects.current().filter(batch=batch).select_related("source"):
        charges[charge.line_id].append(charge)
    need: Decimal | None = None
    missing: list[str] = []
    basis_mg = _basis(batch, lines, charges)
    if batch.kind == Formula.Kind.COOK:
        need, missing = _alkali(batch, lines, chosen, charges)
    aim = diluting.aim_of(batch, lines, chosen, charges, basis_mg)
    return Plan(
        lines=[
            _plan_line(
                batch.basis_mg if line.source_formula_id else basis_mg,
                line,
                chosen.get(line.pk),
                charges[line.pk],
                need,
                batch.lye_discount,
                aim,
            )
            for line in lines
        ],
        alkali_need_g=need,
        missing=missing,
    )


def _basis(
    batch: Batch,
    lines: list[FormulaLine],
    charges: Mapping[int | None, list[Charge]],
) -> int:
    """Return the basis: of a dilution the paste that went in, once any has."""
    if batch.kind == Formula.Kind.DILUTION:
        for line in lines:
            if line.source_formula_id is not None and charges[line.pk]:
                return sum(charge.net_mg for charge in charges[line.pk])
    return batch.basis_mg


def _plan_line(
    basis_mg: int,
    line: FormulaLine,
    source: Stock | None,
    charges: list[Charge],
    need_g: Decimal | None,
    lye_discount: Decimal,
    aim: diluting.Aim | None = None,
) -> PlanLine:
    material = line.material
    target: int | None = None
    figure, origin = _figure(source, charges)
    if aim is not None and diluting.is_water(line):
        target, origin = aim.water_mg, aim.words
    elif line.per_kg_mg is not None:
        target = basis_mg * line.per_kg_mg // PER_KG
    elif figure is not None and need_g is not None:
        target = milligrams(potash_to_weigh(need_g, figure.value, lye_discount))
    return PlanLine(
        line=line,
        name=material.name if material else str(line.source_formula),
        kind=material.kind if material else "batch",
        target_mg=target,
        charged_mg=sum(charge.net_mg for charge in charges),
        source=source,
        origin=origin,
    )


def _figure(
    source: Stock | None, charges: list[Charge]
) -> tuple[sources.Figure | None, str]:
    """Return the figure that counts and where it is from; or none and why.

    That of the last charge if there is one: a certificate that came later never
    changes what was weighed by an earlier one. Else that of the lot chosen.
    """
    if charges and charges[-1].figure is not None:
        charged = charges[-1]
        origin = charged.figure_origin
        return sources.Figure(charged.figure or Decimal(0), origin), origin
    if source is None or source.kind != Stock.Kind.LOT:
        return None, ""
    try:
        figure = sources.figure_of(lot_of(source))
    except Refusal as refusal:  # a certificate revised since the lot was chosen
        return None, refusal.message
    return figure, figure.origin if figure else ""


def lot_of(stock: Stock) -> RawLot:
    """Return the raw lot of a stock, with what the computations read."""
    return RawLot.objects.select_related("stock", "material").get(pk=stock.pk)


def _alkali(
    batch: Batch,
    lines: list[FormulaLine],
    chosen: Mapping[int, Stock],
    charges: Mapping[int | None, list[Charge]],
) -> tuple[Decimal | None, list[str]]:
    oils: list[Oil] = []
    missing: list[str] = []
    for line in lines:
        material = line.material
        if material is None or line.per_kg_mg is None:
            continue
        if material.kind != Material.Kind.OIL:
            continue
        if charges[line.pk]:
            oils += [
                Oil(grams(charge.net_mg), charge.figure)
                for charge in charges[line.pk]
                if charge.figure is not None
            ]
        elif line.pk in chosen:
            figure = sources.saponification_value(lot_of(chosen[line.pk]))
            planned = batch.basis_mg * line.per_kg_mg // PER_KG
            oils.append(Oil(grams(planned), figure.value))
        else:
            missing.append(material.name)
    return (None if missing or not oils else alkali_need(oils)), missing


def _choices_by_line(batch: Batch) -> dict[str, str]:
    return {
        str(choice.line.position): choice.source.code
        for choice in batch.lot_choices.select_related("line", "source").order_by(
            "line__position"
        )
    }


def is_short(line: PlanLine) -> bool:
    """Say whether a line still lacks more than a tenth of what is to be weighed."""
    if line.target_mg is None:
        return not line.charged_mg
    return line.charged_mg * 10 < line.target_mg * 9


def uncharged_lines(batch: Batch) -> list[str]:
    """Return the names of formula lines that nothing has been weighed for."""
    charged = set(
        Charge.objects.current().filter(batch=batch).values_list("line_id", flat=True)
    )
    return [
        line.material.name if line.material else str(line.source_formula)
        for line in batch.formula_version.lines.select_related(
            "material", "source_formula"
        )
        if line.pk not in charged
    ]


def lines_needed(batch: Batch) -> list[str]:
    """Return the names of lines without which the batch is not complete.

    Every batch needs all of its lines, unless it is a rework, whose aim is to repair.
    """
    if batch.is_rework:
        return []
    return uncharged_lines(batch)


def uncharged_of(batch: Batch, *kinds: str) -> list[str]:
    """Return the names of the materials of these kinds not weighed in at all."""
    names = set(
        batch.formula_version.lines.filter(material__kind__in=kinds).values_list(
            "material__name", flat=True
        )
    )
    return [name for name in uncharged_lines(batch) if name in names]
