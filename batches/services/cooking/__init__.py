"""At the pot: charges, readings, the final weighing, and closing the record."""

from batches.services.cooking.charging import amend_charge, charge
from batches.services.cooking.closing import abandon, finish
from batches.services.cooking.reading import amend_reading, record_reading
from batches.services.cooking.weighing import amend_bulk, weigh_bulk

__all__ = [
    "abandon",
    "amend_bulk",
    "amend_charge",
    "amend_reading",
    "charge",
    "finish",
    "record_reading",
    "weigh_bulk",
]
