"""Tables of judging: limits, judgements, signatures, deviations, recalls."""

from quality.models.checks import FillCheck, FillCheckTakenBack, InstrumentCheck
from quality.models.deviations import Deviation, DeviationStep
from quality.models.limits import Characteristic, Limit
from quality.models.recalls import (
    IN_A_MOCK,
    Recall,
    RecallContact,
    RecallEvent,
    RecallItem,
)
from quality.models.signatures import Judgement, Signature, SignatureMark

__all__ = [
    "IN_A_MOCK",
    "Characteristic",
    "Deviation",
    "DeviationStep",
    "FillCheck",
    "FillCheckTakenBack",
    "InstrumentCheck",
    "Judgement",
    "Limit",
    "Recall",
    "RecallContact",
    "RecallEvent",
    "RecallItem",
    "Signature",
    "SignatureMark",
]
