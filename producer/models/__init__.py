"""Tables of the premises, a file per noun."""

from producer.models.contacts import Consignee, Supplier
from producer.models.containers import Container
from producer.models.counts import StockCount, StockTake
from producer.models.instruments import Instrument
from producer.models.journal import JournalEntry, JournalHead
from producer.models.lots import Attachment, Certificate, LotStatusChange, RawLot
from producer.models.materials import Material
from producer.models.people import Person, Right, User
from producer.models.places import Place, RulesCheck
from producer.models.premises import Premises
from producer.models.records import Correctable, Record
from producer.models.safety import SafetyNote
from producer.models.stock import NumberSeries, Stock, StockMovement
from producer.models.vessels import TareWeighing, Vessel

__all__ = [
    "Attachment",
    "Certificate",
    "Consignee",
    "Container",
    "Correctable",
    "Instrument",
    "JournalEntry",
    "JournalHead",
    "LotStatusChange",
    "Material",
    "NumberSeries",
    "Person",
    "Place",
    "Premises",
    "RawLot",
    "Record",
    "Right",
    "RulesCheck",
    "SafetyNote",
    "Stock",
    "StockCount",
    "StockMovement",
    "StockTake",
    "Supplier",
    "TareWeighing",
    "User",
    "Vessel",
]
