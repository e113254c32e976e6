"""Classes of contents and medium hardness: Regulation (EC) 648/2004, Annex VII.

Part A read at legalize.dev (32004R0648) and ireland.cleanright.eu, part B as quoted by
thechemicalcompliancecoach.com. The German wording of part A read at gesetze.legal
(eu/vo_eg_2004_648/anhang_vii). Regulation (EU) 2026/405 repeals it from 23 September
2029 (second hand: bens-consulting.com).
"""

from __future__ import annotations

import functools
from decimal import Decimal

import pytest

from batches.chemistry.dilution import contents_band, soap_content_after
from batches.chemistry.doses import DOSE_HARDNESSES
from batches.chemistry.hardness import hardness_range
from batches.label_words import band_in
from tests.reference.outside import Check, Flag

SOURCE = "Regulation (EC) 648/2004, Annex VII"

BANDS = [
    ("0.3", "less than 5 %"),
    ("4.99", "less than 5 %"),
    ("5", "5 % or over but less than 15 %"),
    ("14.99", "5 % or over but less than 15 %"),
    ("15", "15 % or over but less than 30 %"),
    ("29.99", "15 % or over but less than 30 %"),
    ("30", "30 % and more"),
]


GERMAN_BANDS = [
    ("4.99", "unter 5 %"),
    ("5", "5 % und darüber, jedoch weniger als 15 %"),
    ("15", "15 % und darüber, jedoch weniger als 30 %"),
    ("30", "30 % und darüber"),
]


def german_class_of(content: str) -> str:
    return band_in(class_of(content), "de")


def class_of(content: str) -> str:
    return contents_band(Decimal(content)).wording


CHECKS = [
    *(
        Check(
            what=f"{content} % by mass",
            clause="VII A",
            flag=Flag.SEEN,
            ours=functools.partial(class_of, content),
            published=wording,
        )
        for content, wording in BANDS
    ),
    *(
        Check(
            what=f"{content} % by mass, in German",
            clause="VII A, German version",
            flag=Flag.SECOND_HAND,
            ours=functools.partial(german_class_of, content),
            published=wording,
        )
        for content, wording in GERMAN_BANDS
    ),
    Check(
        what="paste of 36 % with 1.5 parts of water",
        clause="VII A, by conservation of the soap",
        flag=Flag.SEEN,
        ours=lambda: (
            contents_band(
                soap_content_after(Decimal(36), Decimal(2), Decimal(3))
            ).wording
        ),
        published="5 % or over but less than 15 %",
    ),
    Check(
        what="medium hardness, at which loads are counted, in mmol/l",
        clause="VII B",
        flag=Flag.SECOND_HAND,
        ours=lambda: dict(DOSE_HARDNESSES)["medium"],
        published=Decimal("2.5"),
    ),
    Check(
        what="that hardness in words",
        clause="VII B",
        flag=Flag.SECOND_HAND,
        ours=lambda: hardness_range(Decimal("2.5")),
        published="medium",
    ),
]


@pytest.mark.parametrize("check", CHECKS, ids=str)
def test_published_value(check: Check) -> None:
    check.hold()
