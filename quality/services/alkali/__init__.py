"""Excess alkali of a batch, its uncertainty and its risks.

Inputs, formula, budget by weighing, titration, both together, and the words for them.
"""

from quality.services.alkali import words
from quality.services.alkali.balance import Alkali, alkali_of, discount_rows
from quality.services.alkali.judged import FreeAlkali, free_alkali_of
from quality.services.alkali.titrated import Titrated
from quality.services.alkali.weighed import Weighed, drawn

__all__ = [
    "Alkali",
    "FreeAlkali",
    "Titrated",
    "Weighed",
    "alkali_of",
    "discount_rows",
    "drawn",
    "free_alkali_of",
    "words",
]
