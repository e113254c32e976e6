"""Tables of what is made, a file per noun."""

from batches.models.batches import Batch, BatchStatusChange, Input, LotChoice
from batches.models.bottles import Bottle, BottleEvent, Dispatch, FillingLot
from batches.models.costs import Cost
from batches.models.discrepancies import Discrepancy, DiscrepancyEnd
from batches.models.filled import (
    FillingBalance,
    FillingRelease,
    RetainedSample,
    SampleLook,
)
from batches.models.formulas import Formula, FormulaLine, FormulaVersion
from batches.models.hold_points import HoldPoint
from batches.models.items import ItemNumber
from batches.models.labels import (
    Classification,
    LabelCopy,
    LabelCount,
    LabelDecision,
    LabelIssue,
    LabelVersion,
    Language,
    SheetFormat,
)
from batches.models.losses import Loss
from batches.models.portions import LiquidReading, Portion
from batches.models.readings import Reading
from batches.models.scans import (
    BottleDiscrepancy,
    BottleDiscrepancyEnd,
    BottleScan,
    ScanAlert,
)
from batches.models.sprays import PatchTest, SprayMix
from batches.models.taken_back import DestructionTakenBack, DispatchTakenBack
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
    "BottleDiscrepancy",
    "BottleDiscrepancyEnd",
    "BottleEvent",
    "BottleScan",
    "BulkWeighing",
    "Charge",
    "Classification",
    "ContainerWeighing",
    "Cost",
    "DestructionTakenBack",
    "Discrepancy",
    "DiscrepancyEnd",
    "Dispatch",
    "DispatchTakenBack",
    "FillingBalance",
    "FillingLot",
    "FillingRelease",
    "Formula",
    "FormulaLine",
    "FormulaVersion",
    "HoldPoint",
    "Input",
    "ItemNumber",
    "LabelCopy",
    "LabelCount",
    "LabelDecision",
    "LabelIssue",
    "LabelVersion",
    "Language",
    "LiquidReading",
    "Loss",
    "LotChoice",
    "PatchTest",
    "Portion",
    "Reading",
    "RetainedSample",
    "SampleLook",
    "ScanAlert",
    "SheetFormat",
    "SprayMix",
    "Titration",
    "TitrationReplicate",
    "Transcription",
    "WeighingStart",
]
