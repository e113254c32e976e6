"""Results of batches, lots and checks in time, and what their charts say."""

from quality.services.charting.analysis import Analysis, Found, Span, analysis_of
from quality.services.charting.listing import (
    Listed,
    Things,
    listed,
    of_formula,
    series_of,
    subject_of,
)
from quality.services.charting.plain import (
    Chartable,
    Kind,
    Limits,
    Other,
    Point,
    Series,
    Subject,
)

__all__ = [
    "Analysis",
    "Chartable",
    "Found",
    "Kind",
    "Limits",
    "Listed",
    "Other",
    "Point",
    "Series",
    "Span",
    "Subject",
    "Things",
    "analysis_of",
    "listed",
    "of_formula",
    "series_of",
    "subject_of",
]
