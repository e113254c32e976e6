"""Excess alkali of a batch, its uncertainty and its risks.

Inputs, formula, budget by weighing, titration, both together, and the words for them.
"""

from quality.services.alkali import words
from quality.services.alkali.balance import Alkali, alkali_of, discount_rows
from quality.services.alkali.titrated import Titrated
from quality.services.alkali.weighed import Weighed, drawn

__all__ = [
    "Alkali",
    "Titrated",
    "Weighed",
    "alkali_of",
    "discount_rows",
    "drawn",
    "words",
]
