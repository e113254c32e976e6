"""Results of batches as series in time, and what their charts say."""

from quality.services.charting.analysis import Analysis, Found, Span, analysis_of
from quality.services.charting.series import (
    Chartable,
    Point,
    Series,
    counts,
    series_of,
)

__all__ = [
    "Analysis",
    "Chartable",
    "Found",
    "Point",
    "Series",
    "Span",
    "analysis_of",
    "counts",
    "series_of",
]
