"""What the statistics refuse; each message tells the maker what to check.

>>> issubclass(CorrelationError, StatisticsError)
True
>>> issubclass(StatisticsError, ValueError)
True
"""


class StatisticsError(ValueError):
    """A question that these numbers cannot answer."""


class InputError(StatisticsError):
    """An input that no measurement can have: no number, or a width below zero."""


class CorrelationError(StatisticsError):
    """A correlation that names nothing, or that cannot be together with the others."""


class NotFiniteError(StatisticsError):
    """A formula that has no number, or no slope, at the values of its inputs."""


class SimulationError(StatisticsError):
    """A simulation that cannot be drawn as asked."""


class TooFewValuesError(StatisticsError):
    """Fewer values than the computation needs."""


class NoSpreadError(StatisticsError):
    """All values are the same, so nothing can be said about how they scatter."""


class OutsideTableError(StatisticsError):
    """A value outside the published table; nothing is extrapolated."""
