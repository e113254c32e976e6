"""What the batch came from and where it went."""

from __future__ import annotations

from collections.abc import Iterator

from batches import trace
from batches.models import Batch, FillingLot
from producer.models import Certificate, Premises, StockMovement
from producer.money import format_money
from quality.models import FillCheck
from quality.services import exporting
from quality.services.export_tables.cells import WHEN, Row, Table


def _genealogy(batch: Batch) -> Iterator[Row]:
    for way, found in (
        ("in it", trace.trace(batch.stock)),
        ("went into", trace.track(batch.stock)),
    ):
        for source, into, mass_mg in found.edges:
            names = found.names
            yield batch.number, way, names[source][0], names[into][0], mass_mg


GENEALOGY = Table(
    name="genealogy",
    about="what went into the batch and what it went into, at any depth",
    head=("batch", "way", "source", "into_batch", "mass_mg"),
    rows=_genealogy,
)


def _lots(batch: Batch) -> Iterator[Row]:
    currency = Premises.objects.get().currency
    for lot in trace.trace(batch.stock).lots:
        yield (
            batch.number,
            lot.code,
            lot.material.name,
            lot.supplier.name,
            lot.supplier_lot,
            lot.received_on,
            lot.expires_on,
            lot.retest_on,
            lot.status,
            None if lot.paid_hundredths is None else format_money(lot.paid_hundredths),
            currency,
        )


LOTS = Table(
    name="lots",
    about="the raw lots in the batch, at any depth, with their state today; paid is for"
    " all of a lot, with two decimals, empty where nobody wrote it down",
    head=(
        *("batch", "lot", "material", "supplier", "supplier_lot", "received_on"),
        *("expires_on", "retest_on", "status", "paid", "currency"),
    ),
    rows=_lots,
)


def _certificates(batch: Batch) -> Iterator[Row]:
    ids = trace.upstream_ids(batch.pk)
    rows = Certificate.objects.filter(lot__in=ids)
    rows = rows.select_related("lot__stock", "attachment", "entered_by__person")
    for row in rows.order_by("lot_id", "version"):
        paper = row.attachment
        yield (
            batch.number,
            row.lot.code,
            row.version,
            row.reference,
            row.issued_on,
            row.assay_percent,
            row.assay_basis,
            row.assay_is_minimum,
            row.assay_half_width,
            row.carbonate_percent,
            row.saponification_value,
            row.saponification_half_width,
            row.reason,
            row.entered_at,
            row.entered_by.person.name,
            paper.original_name if paper else "",
            paper.sha256 if paper else "",
        )


CERTIFICATES = Table(
    name="certificates",
    about="every version of the certificates of those lots",
    head=(
        *("batch", "lot", "version", "reference", "issued_on", "assay_percent"),
        *("assay_basis", "assay_is_minimum", "assay_half_width_percent"),
        *("carbonate_percent_k2co3", "saponification_value_mg_koh_per_g"),
        *("saponification_half_width_mg_koh_per_g", "reason", "entered_at"),
        *("entered_by", "attachment", "attachment_sha256"),
    ),
    rows=_certificates,
)


def _movements(batch: Batch) -> Iterator[Row]:
    own = StockMovement.objects.filter(stock=batch.pk)
    drawn = StockMovement.objects.filter(purpose=batch.number)
    rows = (own | drawn).select_related(
        "stock", "container__lot__stock", "entered_by__person"
    )
    for row in rows.order_by("pk"):
        yield (
            batch.number,
            row.stock.code,
            row.container.code if row.container else "",
            row.kind,
            row.amount_mg,
            row.balance_mg,
            row.purpose,
            row.reason,
            row.observed_at,
            row.entered_at,
            row.entered_by.person.name,
        )


MOVEMENTS = Table(
    name="movements",
    about="the stock ledger: of the batch, and of what was drawn for it",
    head=(
        *("batch", "stock", "container", "kind", "amount_mg", "balance_mg"),
        *("purpose", "reason", *WHEN),
    ),
    rows=_movements,
)


def _filling_lots(batch: Batch) -> Iterator[Row]:
    for row in batch.filling_lots.select_related("entered_by__person").order_by("pk"):
        yield (
            batch.number,
            row.code,
            row.nominal_ul,
            row.density,
            row.count,
            row.filled_mg,
            row.loss_mg,
            row.use_by,
            row.observed_at,
            row.entered_at,
            row.entered_by.person.name,
        )


FILLING_LOTS = Table(
    name="filling_lots",
    about="fillings of the batch; density in g/ml at 20 °C",
    head=(
        *("batch", "filling_lot", "nominal_ul", "density_g_per_ml", "count"),
        *("filled_mg", "loss_mg", "use_by", *WHEN),
    ),
    rows=_filling_lots,
)


def _fill_checks(batch: Batch) -> Iterator[Row]:
    lots = FillingLot.objects.filter(batch=batch)
    rows = FillCheck.objects.filter(filling_lot__in=lots)
    rows = rows.select_related(
        "filling_lot",
        "scale",
        "limit",
        "entered_by__person",
        "taken_back__entered_by__person",
    )
    for row in rows.order_by("pk"):
        back = getattr(row, "taken_back", None)
        yield (
            batch.number,
            row.filling_lot.code,
            row.pk,
            row.scale.name,
            row.tare_mg,
            " ".join(str(mass) for mass in row.net_mg),
            (row.facts or {}).get("here"),
            " ".join(str(number) for number in (row.facts or {}).get("opened", ())),
            (row.facts or {}).get("since", ""),
            row.accepted,
            row.limit.version if row.limit else None,
            row.verdict,
            row.sentence,
            back is not None,
            back.reason if back else "",
            back.entered_at if back else None,
            back.entered_by.person.name if back else "",
            row.observed_at,
            row.entered_at,
            row.entered_by.person.name,
        )


FILL_CHECKS = Table(
    name="fill_checks",
    about="bottles weighed against their label; net masses with blanks between; one"
    " that is taken back counts for nothing",
    head=(
        *("batch", "filling_lot", "id", "scale", "tare_mg", "net_mg"),
        *("bottles_here", "bottles_opened", "done_since_last"),
        *("accepted", "limit_version", "outcome", "in_words", "is_taken_back"),
        *("taken_back_because", "taken_back_at", "taken_back_by", *WHEN),
    ),
    rows=_fill_checks,
)


def _bottles(batch: Batch) -> Iterator[Row]:
    for bottle in exporting.bottles_of(batch):
        holder = bottle.consignee if bottle.status == "dispatched" else None
        yield (
            batch.number,
            bottle.filling_lot.code,
            bottle.number,
            bottle.code,
            bottle.status,
            holder.name if holder else "",
        )


BOTTLES = Table(
    name="bottles",
    about="every bottle, its state today, and who has it if it was sent",
    head=("batch", "filling_lot", "number", "bottle", "status", "holder"),
    rows=_bottles,
)
