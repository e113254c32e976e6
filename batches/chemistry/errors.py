"""What the computations refuse; each message tells the maker what to check.

>>> issubclass(OutOfRangeError, ChemistryError)
True
"""


class ChemistryError(ValueError):
    """A value that no pot can have, or a question that cannot be answered."""


class OutOfRangeError(ChemistryError):
    """A value outside the range in which the formula holds."""
