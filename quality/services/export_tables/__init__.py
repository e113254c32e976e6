"""The tables of an export: for each its name, its columns and its rows of a batch.

Only reads. Rows that were superseded are among them: ``supersedes`` and
``is_taken_back`` say so.
"""

from quality.services.export_tables import (
    filled,
    goods,
    judging,
    labelled,
    liquids,
    making,
    sprays,
    store,
    stove,
    tools,
)
from quality.services.export_tables.cells import Cell, Row, Table

__all__ = ["TABLES", "Cell", "Row", "Table"]

TABLES = (
    making.BATCHES,
    making.STATUS_CHANGES,
    stove.HOLD_POINTS,
    stove.WEIGHINGS_BEGUN,
    making.CHARGES,
    making.READINGS,
    making.TITRATIONS,
    making.TITRATION_SAMPLES,
    making.WEIGHINGS,
    making.LOSSES,
    liquids.LIQUID_READINGS,
    liquids.PORTIONS,
    sprays.SPRAY_MIXES,
    sprays.PATCH_TESTS,
    stove.PAPER_SHEETS,
    stove.DISCREPANCIES,
    tools.INSTRUMENTS,
    tools.INSTRUMENT_CHECKS,
    store.TARE_WEIGHINGS,
    store.SAFETY_NOTES,
    tools.LIMITS,
    judging.JUDGEMENTS,
    judging.SIGNATURES,
    judging.SIGNATURE_MARKS,
    judging.DEVIATIONS,
    judging.DEVIATION_STEPS,
    goods.GENEALOGY,
    goods.LOTS,
    goods.CERTIFICATES,
    store.CONTAINERS,
    store.CONTAINER_WEIGHINGS,
    goods.MOVEMENTS,
    store.STOCK_COUNTS,
    goods.FILLING_LOTS,
    filled.FILLING_BALANCES,
    goods.FILL_CHECKS,
    filled.RETAINED_SAMPLES,
    filled.SAMPLE_LOOKS,
    filled.FILLING_RELEASES,
    goods.BOTTLES,
    labelled.LABEL_TEXTS,
    labelled.LABEL_ISSUES,
    labelled.LABEL_COPIES,
    labelled.LABEL_COUNTS,
    store.COSTS,
)
