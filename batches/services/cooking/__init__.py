"""At the pot: charges and corrections, readings, final weighing, closing."""

from batches.services.cooking.charging import amend_charge, charge
from batches.services.cooking.closing import abandon, finish, stops_finishing
from batches.services.cooking.correcting import correct
from batches.services.cooking.how import How
from batches.services.cooking.reading import amend_reading, record_reading
from batches.services.cooking.weighing import amend_bulk, weigh_bulk

__all__ = [
    "How",
    "abandon",
    "amend_bulk",
    "amend_charge",
    "amend_reading",
    "charge",
    "correct",
    "finish",
    "record_reading",
    "stops_finishing",
    "weigh_bulk",
]
