"""What a new premises has to do before its first batch, and what of it is done."""

from __future__ import annotations

import dataclasses

from batches.models import Batch, FormulaVersion
from batches.services.formulas import newest_versions
from producer.models import (
    Instrument,
    Material,
    Premises,
    RawLot,
    Right,
    Supplier,
    Vessel,
)
from quality.services.limits import missing_by_version
from quality.services.today.plain import MAKER, REVIEWER, Kind, Row, of_list, page

# Without these no paste is cooked.
NEEDED = (Material.Kind.POTASH, Material.Kind.OIL, Material.Kind.WATER)


@dataclasses.dataclass(frozen=True, kw_only=True)
class Step:
    """One of the first steps: what, where, whose it is, and whether it is done."""

    words: str
    at: str
    rights: tuple[Right, ...]
    is_done: bool


def first_steps() -> list[Step]:
    """Return the first steps in order; none once a batch was opened."""
    if Batch.objects.exists():
        return []
    premises = Premises.objects.first()
    tools = set(
        Instrument.objects.filter(in_use=True).values_list("kind", flat=True).distinct()
    )
    materials = set(Material.objects.values_list("kind", flat=True).distinct())
    versions = list(newest_versions())
    lacking = {version.pk for version, _ in missing_by_version(versions)}
    instruments = page("producer:register", "instruments")
    kind = Instrument.Kind

    def step(words: str, at: str, rights: tuple[Right, ...], *, is_done: bool) -> Step:
        return Step(words=words, at=at, rights=rights, is_done=is_done)

    return [
        step(
            "Write the address, telephone and poison centre of the premises",
            page("producer:premises"),
            (Right.OWNER,),
            is_done=premises is not None
            and all((premises.address, premises.phone, premises.poison_centre)),
        ),
        step(
            "Register a supplier",
            page("producer:register", "suppliers"),
            MAKER,
            is_done=Supplier.objects.exists(),
        ),
        step(
            "Register the materials: potash, oils, water",
            page("producer:register", "materials"),
            MAKER,
            is_done=materials.issuperset(NEEDED),
        ),
        step(
            "Register the scale and its check weight",
            instruments,
            MAKER,
            is_done=tools >= {kind.SCALE, kind.CHECK_WEIGHT},
        ),
        step(
            "Register the thermometer",
            instruments,
            MAKER,
            is_done=kind.THERMOMETER in tools,
        ),
        step(
            "Register the pH meter or the pH strips",
            instruments,
            MAKER,
            is_done=bool(tools & {kind.PH_METER, kind.PH_STRIPS}),
        ),
        step(
            "Register a vessel and its tare",
            page("producer:register", "vessels"),
            MAKER,
            is_done=Vessel.objects.filter(in_use=True).exists(),
        ),
        step(
            "Write a formula",
            page("batches:formulas"),
            MAKER,
            is_done=bool(versions),
        ),
        step(
            "Set the limits of the formula, without which nothing is released",
            page("batches:formulas"),
            REVIEWER,
            is_done=any(version.pk not in lacking for version in versions),
        ),
        step(
            "Receive the first raw lots, each with its certificate",
            page("producer:lots"),
            MAKER,
            is_done=RawLot.objects.exists(),
        ),
        step(
            "Release them",
            page("producer:lots"),
            REVIEWER,
            is_done=RawLot.objects.filter(status=RawLot.Status.RELEASED).exists(),
        ),
        step("Open the first batch", page("batches:batch_open"), MAKER, is_done=False),
    ]


def without_limits() -> Kind:
    """Formulas of which no batch can be released, since a limit is missing."""

    def row(one: tuple[FormulaVersion, list[str]]) -> Row:
        version, lacks = one
        at = page("quality:limits", version.pk)
        return Row(
            name=version.formula.name,
            at=at,
            words=f"No batch of it can be released: no limit of {', '.join(lacks)}.",
            when=f"version {version.version}",
            status="retest_due",
            label="limits missing",
            do="Set the limits",
            do_at=at,
            rights=REVIEWER,
        )

    missing = missing_by_version(newest_versions())
    return of_list(
        "limits",
        "Formulas without the limits that a release needs",
        [(version, [one.label for one in lacks]) for version, lacks in missing],
        row,
        all_at=page("batches:formulas"),
    )
