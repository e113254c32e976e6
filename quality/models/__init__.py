"""Tables of judging: limits, judgements, signatures, recalls."""

from quality.models.checks import FillCheck, InstrumentCheck
from quality.models.limits import Characteristic, Limit
from quality.models.recalls import Recall, RecallEvent, RecallItem
from quality.models.signatures import Judgement, Signature

__all__ = [
    "Characteristic",
    "FillCheck",
    "InstrumentCheck",
    "Judgement",
    "Limit",
    "Recall",
    "RecallEvent",
    "RecallItem",
    "Signature",
]
