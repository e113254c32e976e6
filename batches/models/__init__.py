"""Tables of what is made, a file per noun."""

from batches.models.batches import Batch, BatchStatusChange, Input, LotChoice
from batches.models.bottles import Bottle, BottleEvent, Dispatch, FillingLot
from batches.models.costs import Cost
from batches.models.discrepancies import Discrepancy, DiscrepancyEnd
from batches.models.formulas import Formula, FormulaLine, FormulaVersion
from batches.models.hold_points import HoldPoint
from batches.models.losses import Loss
from batches.models.readings import Reading
from batches.models.titrations import (
    ContainerWeighing,
    Titration,
    TitrationReplicate,
)
from batches.models.transcriptions import Transcription
from batches.models.weighings import BulkWeighing, Charge, WeighingStart

__all__ = [
    "Batch",
    "BatchStatusChange",
    "Bottle",
    "BottleEvent",
    "BulkWeighing",
    "Charge",
    "ContainerWeighing",
    "Cost",
    "Discrepancy",
    "DiscrepancyEnd",
    "Dispatch",
    "FillingLot",
    "Formula",
    "FormulaLine",
    "FormulaVersion",
    "HoldPoint",
    "Input",
    "Loss",
    "LotChoice",
    "Reading",
    "Titration",
    "TitrationReplicate",
    "Transcription",
    "WeighingStart",
]
