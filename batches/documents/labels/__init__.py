"""Labels: laid out once, stamped for each bottle, shown on the screen as printed."""

from batches.documents.labels.codes import (
    address_is_local,
    bottle_address,
    qr_of,
    qr_svg,
)
from batches.documents.labels.layout import check_fit
from batches.documents.labels.proof import proof_svg
from batches.documents.labels.stamping import pages_of
from batches.label_text import Hazard, LabelText, Serial

__all__ = [
    "Hazard",
    "LabelText",
    "Serial",
    "address_is_local",
    "bottle_address",
    "check_fit",
    "pages_of",
    "proof_svg",
    "qr_of",
    "qr_svg",
]
