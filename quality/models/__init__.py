"""Tables of judging: limits, judgements, signatures, deviations, recalls."""

from quality.models.checks import FillCheck, InstrumentCheck
from quality.models.deviations import Deviation, DeviationStep
from quality.models.limits import Characteristic, Limit
from quality.models.recalls import Recall, RecallEvent, RecallItem
from quality.models.signatures import Judgement, Signature, SignatureMark

__all__ = [
    "Characteristic",
    "Deviation",
    "DeviationStep",
    "FillCheck",
    "InstrumentCheck",
    "Judgement",
    "Limit",
    "Recall",
    "RecallEvent",
    "RecallItem",
    "Signature",
    "SignatureMark",
]
