"""What an entry says in figures: what a device sent, held against what was entered.

A discrepancy is settled by entering what was sent. Whoever enters another lot, mass or
value may be right, but has to say why: else 500 g of potash could be settled by a
temperature.
"""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from batches.models import (
    BulkWeighing,
    Charge,
    Discrepancy,
    Loss,
    Reading,
    WeighingStart,
)
from batches.services import sources
from producer.models import RawLot, Stock
from producer.quantities import format_mass

Figures = Mapping[str, Any]
CHARGE, CORRECTION, HALF = "charge", "correction", "half weighing"
YIELD, LOSS = "yield", "loss"
# Kinds of entry by which something left its stock.
TAKEN = frozenset({CHARGE, CORRECTION})
MASSES = ("gross_mg", "tare_mg", "first_mg", "mass_mg")
# What must be the same; gross and tare may differ where the net is the same.
COMPARED = ("lot", "net_mg", "first_mg", "mass_mg", "loss", "value", "clarity")


def figures_of(facts: Mapping[str, Any], source: Stock | None = None) -> dict[str, Any]:
    """Return what a form says as plain JSON: whole milligrams, decimals as text.

    ``source`` is what it is taken from where the form does not say so. What could not
    be read is not in it.
    """
    found: dict[str, Any] = {}
    stock = source or facts.get("source")
    if isinstance(stock, Stock):
        found["lot"] = stock.code
    found.update(
        {name: facts[name] for name in MASSES if isinstance(facts.get(name), int)}
    )
    if "gross_mg" in found and "tare_mg" in found:
        found["net_mg"] = found["gross_mg"] - found["tare_mg"]
    if isinstance(facts.get("value"), Decimal):
        found["value"] = _text(facts["value"])
    for name, key in (("clarity", "clarity"), ("kind", "loss")):
        if facts.get(name):
            found[key] = str(facts[name])
    return found


def figures_in(row: Any) -> dict[str, Any]:
    """Return what a row of the record says, as far as it is compared."""
    found: dict[str, Any] = {}
    if isinstance(row, Charge | WeighingStart):
        found["lot"] = row.source.code
    if isinstance(row, Charge | BulkWeighing):
        found["net_mg"] = row.net_mg
    elif isinstance(row, WeighingStart):
        found["first_mg"] = row.first_mg
    elif isinstance(row, Loss):
        found |= {"loss": str(row.kind), "mass_mg": row.mass_mg}
    elif isinstance(row, Reading) and row.value is not None:
        found["value"] = _text(row.value)
    elif isinstance(row, Reading):
        found["clarity"] = str(row.clarity)
    return found


def kind_in(row: Any) -> str:
    """Return which kind of entry a row of the record is; nothing if it is none."""
    match row:
        case Charge():
            is_lot = row.source.kind == Stock.Kind.LOT
            return CORRECTION if row.line_id is None and is_lot else CHARGE
        case WeighingStart():
            return HALF
        case BulkWeighing():
            return YIELD
        case Loss():
            return LOSS
        case Reading():
            return str(row.characteristic)
    return ""


def sent_in(row: Discrepancy) -> dict[str, Any]:
    """Return the figures that were sent; of an old row its lot and its net mass."""
    if "figures" in row.sent:
        return dict(row.sent["figures"])
    return taken(row.stock, row.sent.get("net_mg", 0))


def taken(stock: Stock | None, net_mg: int) -> dict[str, Any]:
    """Return what was taken of which stock, as figures."""
    if stock is None:
        return {}
    return {"lot": stock.code, **({"net_mg": net_mg} if net_mg > 0 else {})}


def same(one: Figures, other: Figures) -> bool:
    """Say whether both say the same lot, mass and value."""
    return _compared(one) == _compared(other)


def words(kind: str, figures: Figures) -> str:
    """Return figures as words, such as “540 g of L26-1-1”; nothing where none are.

    >>> words("charge", {"lot": "L26-1-1", "net_mg": 540_000})
    '540 g of L26-1-1'
    >>> words("temperature", {"value": "71.5"})
    '71.5 °C'
    """
    if "value" in figures:
        value = figures["value"]
        return f"pH {value}" if kind == "ph" else f"{value} °C"
    if "clarity" in figures:
        return _label(Reading.Clarity, figures["clarity"])
    names = ("net_mg", "first_mg", "mass_mg")
    mass = next((figures[name] for name in names if name in figures), None)
    said = "" if mass is None else format_mass(mass)
    if "loss" in figures:
        return f"{said} ({_label(Loss.Kind, figures['loss'])})".strip()
    if "lot" in figures:
        return f"{said or 'a mass that cannot be read'} of {figures['lot']}"
    return said


def sent_words(row: Discrepancy) -> str:
    """Return what was sent in words, as it was typed where it could not be read."""
    return words(row.kind, sent_in(row)) or typed(row) or "nothing that can be read"


def typed(row: Discrepancy) -> str:
    """Return what was typed, field by field."""
    shown = row.sent.get("shown", [])
    return "; ".join(f"{label}: {value}" for label, value in shown)


def moves_alkali(row: Discrepancy) -> bool:
    """Say whether what was taken moves the alkali of a batch.

    Potash, oil, a known acid, a rejected batch in a rework; and a stock that nobody
    could read, which may be any of them.
    """
    if row.kind not in TAKEN:
        return False
    if row.stock is None:
        return True
    if row.stock.kind != Stock.Kind.LOT:
        return row.batch.is_rework
    lot: RawLot = row.stock.lot
    return sources.corrects(lot.material)


def _compared(figures: Figures) -> dict[str, Any]:
    return {name: figures[name] for name in COMPARED if name in figures}


def _label(choices: Any, value: str) -> str:
    return str(dict(choices.choices).get(value, value))


def _text(value: Decimal) -> str:
    return f"{value.normalize():f}"
