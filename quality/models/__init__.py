"""Tables of judging: limits, signatures, deviations, complaints, recalls."""

from quality.models.checks import FillCheck, FillCheckTakenBack, InstrumentCheck
from quality.models.complaints import (
    Complaint,
    ComplaintAccount,
    ComplaintStep,
)
from quality.models.deviations import Deviation, DeviationStep
from quality.models.inspections import SelfInspection
from quality.models.limits import Characteristic, Limit
from quality.models.recall_scope import (
    AllClear,
    HazardEvaluation,
    RecallChange,
    RecallItem,
    RecallRevision,
    RecallRoot,
)
from quality.models.recalls import (
    IN_A_MOCK,
    Recall,
    RecallContact,
    RecallEvent,
)
from quality.models.signatures import Judgement, Signature, SignatureMark

__all__ = [
    "IN_A_MOCK",
    "AllClear",
    "Characteristic",
    "Complaint",
    "ComplaintAccount",
    "ComplaintStep",
    "Deviation",
    "DeviationStep",
    "FillCheck",
    "FillCheckTakenBack",
    "HazardEvaluation",
    "InstrumentCheck",
    "Judgement",
    "Limit",
    "Recall",
    "RecallChange",
    "RecallContact",
    "RecallEvent",
    "RecallItem",
    "RecallRevision",
    "RecallRoot",
    "SelfInspection",
    "Signature",
    "SignatureMark",
]
