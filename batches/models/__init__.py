"""Tables of what is made, a file per noun."""

from batches.models.batches import Batch, BatchStatusChange, Input, LotChoice
from batches.models.bottles import Bottle, BottleEvent, Dispatch, FillingLot
from batches.models.formulas import Formula, FormulaLine, FormulaVersion
from batches.models.losses import Loss
from batches.models.readings import Reading
from batches.models.titrations import (
    ContainerWeighing,
    Titration,
    TitrationReplicate,
)
from batches.models.weighings import BulkWeighing, Charge

__all__ = [
    "Batch",
    "BatchStatusChange",
    "Bottle",
    "BottleEvent",
    "BulkWeighing",
    "Charge",
    "ContainerWeighing",
    "Dispatch",
    "FillingLot",
    "Formula",
    "FormulaLine",
    "FormulaVersion",
    "Input",
    "Loss",
    "LotChoice",
    "Reading",
    "Titration",
    "TitrationReplicate",
]
