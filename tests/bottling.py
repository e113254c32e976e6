"""Builders of filling lots that may leave: labelled, weighed, sampled, released."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from batches.label_text import LabelText
from batches.models import (
    Batch,
    FillingLot,
    FillingRelease,
    Formula,
    FormulaVersion,
    LabelIssue,
    LabelVersion,
    RetainedSample,
    SampleLook,
)
from batches.services import cooking, label_texts, labelling, samples
from batches.services.label_bands import bands_of
from batches.sheets import USUAL, Placement, Sheet
from producer.models import Place
from producer.services import registers
from quality.models import FillCheck
from quality.services import filling_checks, filling_release
from quality.services.weighings import failed, here_to_weigh, newest_check
from tests import make
from tests.once import once

TARE_MG = 42_000
ROLL = USUAL[-1]  # the largest labels: the cautions of a spray fit on no small ones
NO_SAMPLE = "none is kept: so the scene wants it"


def shelf(crew: make.Crew, name: str = "cellar shelf") -> Place:
    """Return a place where bottles stand."""
    known = Place.objects.filter(name=name).first()
    return known or registers.save(by=crew.maker, entry=Place(name=name))


def text(crew: make.Crew, formula: Formula, language: str = "en") -> LabelVersion:
    """Return the approved label text of a product, written and approved if need be."""
    known = label_texts.approved(formula, language)
    if known is not None:
        return known
    label = label_texts.write_label(
        by=crew.maker, formula=formula, language=language, product_name=formula.name
    )
    label_texts.approve(by=crew.reviewer, label=label)
    return label


def not_looked_at(_text: LabelText, _sheet: Sheet) -> None:
    """Say that a text fits. Laying it out takes a second; tests of that do it."""


def labels_issued(
    crew: make.Crew,
    lot: FillingLot,
    numbers: Sequence[int] | None = None,
    **changes: Any,
) -> LabelIssue:
    """Issue labels for bottles of a lot, for all of them unless told otherwise."""
    bands = bands_of(lot)
    band = bands.reckoned or next(iter(bands.choices), "")
    return labelling.issue(
        by=crew.maker,
        filling_lot=lot,
        label=text(crew, lot.batch.formula_version.formula),
        numbers=range(1, lot.count + 1) if numbers is None else numbers,
        band=band,
        **{
            "fits": not_looked_at,
            "placement": Placement(ROLL),
            "band_reason": "" if bands.reckoned else "as always",
            **changes,
        },
    )


def liquid_of(
    crew: make.Crew, then: datetime.datetime, version: FormulaVersion | None = None
) -> Batch:
    """Return a released liquid that was weighed out at that time."""
    made = version or make.liquid_version(crew)
    batch = make.open_batch(crew, made, basis_mg=500_000, opened_at=then)
    make.charge_all(crew, batch)
    make.read_ph(crew, batch)
    make.weigh_bulk(crew, batch, share="0.99", observed_at=then)
    return make.signed(
        crew.reviewer, cooking.finish(by=crew.maker, batch=batch), "release"
    )


def filled_of(
    crew: make.Crew,
    then: datetime.datetime,
    version: FormulaVersion | None = None,
    **changes: Any,
) -> FillingLot:
    """Return a filling lot that was weighed out and filled at that time."""
    liquid = liquid_of(crew, then, version)
    return make.filled(crew, liquid, observed_at=then, **changes)


@once
def labelled(crew: make.Crew, lot: FillingLot) -> FillingLot:
    """Issue a label for each bottle of a lot, and count them all as applied."""
    labels_issued(crew, lot)
    labelling.count_labels(
        by=crew.maker, filling_lot=lot, kind="applied", count=lot.count
    )
    return lot


@once
def weighed(
    crew: make.Crew, lot: FillingLot, *, share: str = "1.002", **changes: Any
) -> FillCheck:
    """Weigh every bottle that is here, each with this share of its nominal quantity."""
    net_mg = int(lot.nominal_ul * lot.density * Decimal(share))
    facts = {
        "scale": make.scale(crew.maker),
        "tare_mg": TARE_MG,
        "net_mg": [net_mg] * here_to_weigh(lot),
        "since": "topped up" if failed(newest_check(lot)) else "",
        **changes,
    }
    return filling_checks.record_fill_check(by=crew.maker, filling_lot=lot, **facts)


@once
def jar(crew: make.Crew, lot: FillingLot, mass_mg: int = 5_000) -> RetainedSample:
    """Keep a jar of what was taken as a sample at the filling."""
    return samples.retain(
        by=crew.maker,
        filling_lot=lot,
        mass_mg=mass_mg,
        place=shelf(crew),
        look_on=make.TODAY + datetime.timedelta(days=90),
    )


@once
def looked_at(
    crew: make.Crew, lot: FillingLot, state: str = "as_filled", **changes: Any
) -> SampleLook:
    """Look at the first sample that is kept of a lot."""
    facts = {"found": "clear, of one piece, smells of nothing", **changes}
    sample = lot.samples.order_by("pk")[0]
    return samples.look(by=crew.maker, sample=sample, state=state, **facts)


@once
def released(crew: make.Crew, lot: FillingLot, note: str = "") -> FillingRelease:
    """Release a filling lot."""
    return filling_release.release(by=crew.reviewer, filling_lot=lot, note=note)


@once
def may_leave(crew: make.Crew, lot: FillingLot) -> FillingLot:
    """Label, weigh and release a lot that was filled, unless it is released."""
    if not FillingRelease.objects.filter(filling_lot=lot).exists():
        labelled(crew, lot)
        weighed(crew, lot)
        released(crew, lot, NO_SAMPLE)
    return lot


@once
def ready(
    crew: make.Crew, batch: Batch | None = None, count: int = 2, **changes: Any
) -> FillingLot:
    """Return a filling lot with which all is done but the release."""
    lot = make.filled(crew, batch, count=count, **{"sample_mg": 5_000, **changes})
    labelled(crew, lot)
    weighed(crew, lot)
    jar(crew, lot)
    return lot


@once
def bottled(
    crew: make.Crew, batch: Batch | None = None, count: int = 2, **changes: Any
) -> FillingLot:
    """Return a filling lot that is ready to leave, with a jar of it kept."""
    lot = ready(crew, batch, count, **changes)
    released(crew, lot)
    return lot
