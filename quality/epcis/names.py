"""What things are called outside: addresses of our own site, as on the bottles.

Each names one thing for ever, because codes and numbers are never given twice. Of
people and firms there is a number, never a name.

Where the maker has a GTIN for a product and size, a bottle and its filling lot are
named by GS1 keys instead: canonical GS1 Digital Link addresses with the AIs 01, 10 and
21, and the premises by 414, as CBV 2.0 allows them in events (seen at second hand). An
act has a name of ours even then: under a key there is room for what GS1 says alone.
"""

from __future__ import annotations

import dataclasses
from typing import Final
from urllib.parse import quote

from producer.codes import grouped

GS1: Final = "https://id.gs1.org"
LOT: Final = "/10/"
SERIAL: Final = "/21/"


def keyed_lot(key: str, number: str) -> str:
    """Return the name of a lot of what has this key.

    >>> keyed_lot("https://id.gs1.org/01/04012345111118", "F26-0001")
    'https://id.gs1.org/01/04012345111118/10/F26-0001'
    """
    return f"{key}{LOT}{quote(number)}"


@dataclasses.dataclass(frozen=True)
class Names:
    """Addresses under ``base``, the public address of the site without a last “/”.

    >>> names = Names("https://kettle.example")
    >>> names.bottle("ABCDEFGHJKMN")
    'https://kettle.example/b/ABCD-EFGH-JKMN'
    >>> names.batch("B26-0001-X")
    'https://kettle.example/batches/B26-0001-X/'
    >>> names.event("charge", 12)
    'https://kettle.example/events/#charge-12'
    >>> names.bottle("ABCDEFGHJKMN", "04012345111118")
    'https://id.gs1.org/01/04012345111118/21/ABCDEFGHJKMN'
    """

    base: str

    def premises(self, location_number: str = "") -> str:
        """Return the name of the premises; by its GLN if it has one."""
        if location_number:
            return f"{GS1}/414/{location_number}"
        return f"{self.base}/"

    @property
    def terms(self) -> str:
        """What our own words in a document begin with."""
        return f"{self.base}/events/#"

    def stock(self, kind: str, code: str) -> str:
        """Return the name of a raw lot or a batch, by the kind of its stock."""
        return self.lot(code) if kind == "lot" else self.batch(code)

    def lot(self, code: str) -> str:
        """Return the name of all there is of a raw lot."""
        return f"{self.base}/lots/{quote(code)}/"

    def batch(self, number: str) -> str:
        """Return the name of all that a batch made."""
        return f"{self.base}/batches/{quote(number)}/"

    def filling_lot(self, code: str, gtin: str = "") -> str:
        """Return the name of all bottles of one filling; by its GTIN if it has one."""
        if gtin:
            return keyed_lot(f"{GS1}/01/{gtin}", code)
        return f"{self.base}/bottles/{quote(code)}/"

    def bottle(self, code: str, gtin: str = "") -> str:
        """Return the name of a bottle: the address in its square, to the letter.

        Or its GTIN with its code for a serial number, if it has one.
        """
        if gtin:
            return f"{GS1}/01/{gtin}{SERIAL}{quote(code)}"
        return f"{self.base}/b/{grouped(code)}"

    def dispatch(self, code: str) -> str:
        """Return the name of a dispatch, as a document of business."""
        return f"{self.base}/dispatches/{quote(code)}/"

    def recall(self, code: str) -> str:
        """Return the name of a recall."""
        return f"{self.base}/recalls/{quote(code)}/"

    def supplier(self, number: int) -> str:
        """Return the name of who a lot came from: a number."""
        return f"{self.base}/suppliers/{number}/"

    def consignee(self, number: int) -> str:
        """Return the name of who bottles went to: a number, the rest stays here."""
        return f"{self.base}/consignees/{number}/"

    def place(self, number: int) -> str:
        """Return the name of a shelf or cellar of ours."""
        return f"{self.base}/places/#place-{number}"

    def event(self, kind: str, number: int) -> str:
        """Return the name of an event, the same in every file: its row's number."""
        return f"{self.base}/events/#{kind}-{number}"
