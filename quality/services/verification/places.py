"""Where a row belongs, in words: the code of its batch, lot or bottle."""

from __future__ import annotations

from typing import Any

from django.core.exceptions import ObjectDoesNotExist
from django.db import models

# The first of these that a row has leads to the record it belongs to.
OWNERS = (
    "batch",
    "lot",
    "bottle",
    "stock",
    "filling_lot",
    "titration",
    "container",
    "signature",
    "recall",
    "deviation",
    "instrument",
    "formula_version",
    "formula",
    "material",
)
NAMES = ("code", "number", "username", "name")


def place_of(row: models.Model) -> str:
    """Return where a row belongs as the end of a phrase, or nothing if it says not."""
    found: models.Model | None = row
    while found is not None:
        for name in NAMES:
            value = _get(found, name)
            if isinstance(value, str) and value:
                return f" ({value})"
        owners = (_get(found, name) for name in OWNERS)
        found = next((one for one in owners if one is not None), None)
    return ""


def _get(row: models.Model, name: str) -> Any:
    try:
        return getattr(row, name, None)
    except ObjectDoesNotExist:  # what it refers to was taken out as well
        return None
