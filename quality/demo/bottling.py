"""From the filled bottle to the one that may leave: label, weigh, keep, release."""

from __future__ import annotations

import random
from collections.abc import Mapping, Sequence
from decimal import Decimal
from types import MappingProxyType

from batches.documents.labels import check_fit
from batches.models import (
    FillingLot,
    Formula,
    LabelCount,
    LabelVersion,
    SampleLook,
)
from batches.services import filling, label_texts, labelling, samples
from batches.services.label_bands import bands_of
from batches.sheets import USUAL, Placement
from producer.models import Place
from producer.services import registers
from quality.demo.formulas import SPRAY, WASH
from quality.demo.making import GRAM
from quality.demo.people import HELPER, OWNER, REVIEWER
from quality.demo.scene import SEED, Scene
from quality.services import filling_release
from quality.services.dose_table import dose_table
from quality.services.filling_checks import record_fill_check

Kind = LabelCount.Kind
SHELF, CUPBOARD = "cellar shelf", "sample cupboard"
CONDITIONS = {
    SHELF: "frost-free and dark, behind a door with a latch",
    CUPBOARD: "dark, in the office; nothing leaves from here",
}
SAMPLE_MG = 40 * GRAM  # the jar that is filled with each lot
EMPTY_MG = MappingProxyType({250: 31_200, 500: 52_400})  # bottle and cap, in milligrams
# The lots whose labels are German, those with smeared labels, by number of the bottle,
# and how many specimens were printed.
LANGUAGES = MappingProxyType({"F3": "de"})
SMEARED = MappingProxyType({"F2": (5,)})
SPECIMENS = MappingProxyType({"F1": 1})
TENS = USUAL[1]  # ten labels on a sheet of A4

# Name, directions and cautions by product and language; all of it invented.
TEXTS: Mapping[str, Mapping[str, tuple[str, str, str]]] = MappingProxyType(
    {
        WASH: {
            "en": (
                "Liquid laundry soap",
                "Floors: 20 ml in a bucket of warm water.",
                "For washing only. Not for wool or silk.",
            ),
            "de": (
                "Flüssige Waschseife",
                "Böden: 20 ml auf einen Eimer warmes Wasser.",
                "Nur zum Waschen. Nicht für Wolle und Seide.",
            ),
        },
        SPRAY: {
            "en": (
                "Soft soap spray concentrate",
                "Thin 1 part with 29 parts of soft water; wet both sides of the leaf.",
                "Wet a few leaves first and wait two days. Keep out of ponds.",
            ),
            "de": (
                "Schmierseife, Konzentrat zum Spritzen",
                "1 Teil mit 29 Teilen weichem Wasser; Blätter beidseits benetzen.",
                "Erst an wenigen Blättern versuchen. Nicht in Teiche.",
            ),
        },
    }
)
BASIS = "Worked out by Maren from the makers' data sheets; invented for this demo."


def place(scene: Scene, name: str) -> Place:
    """Return a place, registered when it is first needed."""
    known = Place.objects.filter(name=name).first()
    return known or registers.save(
        by=scene.users[OWNER], entry=Place(name=name, conditions=CONDITIONS[name])
    )


def write_texts(scene: Scene, product: str) -> None:
    """Let the owner write the texts of a product, and the reviewer approve them."""
    formula = scene.formulas[product].formula
    label_texts.classify(
        by=scene.users[OWNER], formula=formula, signal="none", basis=BASIS
    )
    for language, (name, directions, cautions) in TEXTS[product].items():
        scene.clock.wait(9)
        label = label_texts.write_label(
            by=scene.users[OWNER],
            formula=formula,
            language=language,
            product_name=name,
            directions=directions,
            cautions=cautions,
            doses=formula.purpose == Formula.Purpose.WASH,
        )
        scene.clock.wait(6)
        label_texts.approve(by=scene.users[REVIEWER], label=label)


def fill(
    scene: Scene,
    name: str,
    *,
    batch: str,
    count: int,
    millilitres: int,
    density: str,
    maker: str = OWNER,
    missing_g: int | None = None,
) -> None:
    """Fill bottles and a jar; a little stays in the hose.

    With ``missing_g`` the rest was weighed, and is that much less than by the book.
    """
    made = scene.batch(batch)
    each_mg = int(Decimal(millilitres * 1000) * Decimal(density))
    loss_mg = scene.dice.randint(15, 45) * GRAM
    by_book = made.stock.on_hand_mg - count * each_mg - loss_mg - SAMPLE_MG
    scene.fillings[name] = filling.fill(
        by=scene.users[maker],
        batch=made,
        nominal_ul=millilitres * 1000,
        density=Decimal(density),
        # Kept only where it is not the density of the book.
        density_reason="100 ml weighed three times at 20 °C",
        count=count,
        loss_mg=loss_mg,
        sample_mg=SAMPLE_MG,
        rest_mg=None if missing_g is None else by_book - missing_g * GRAM,
        temperature=Decimal(19),
        place=place(scene, SHELF),
    )


def bottle(
    scene: Scene,
    name: str,
    *,
    batch: str,
    count: int,
    millilitres: int,
    density: str,
    maker: str = OWNER,
) -> None:
    """Fill bottles, and do all that they need until they may leave."""
    fill(
        scene,
        name,
        batch=batch,
        count=count,
        millilitres=millilitres,
        density=density,
        maker=maker,
    )
    finish(scene, name)


def finish(scene: Scene, name: str, *, keep: int | None = None) -> None:
    """Do all that a filling lot needs until its bottles may leave.

    ``keep`` is the number of a bottle that stays; a jar stays of each lot.
    """
    lot = scene.fillings[name]
    _label(scene, name, lot)
    if not lot.fill_checks.exists():
        _weigh(scene, name, lot)
    _keep(scene, lot, keep)
    scene.clock.wait(35)  # the reviewer comes by
    filling_release.release(by=scene.users[REVIEWER], filling_lot=lot)
    scene.clock.wait(4)


def text_for(scene: Scene, lot: FillingLot, language: str) -> LabelVersion:
    """Return the approved text of what is in the bottles."""
    formula = lot.batch.formula_version.formula
    if not label_texts.approved_in(formula):
        of = {scene.formulas[name].formula.pk: name for name in TEXTS}
        write_texts(scene, of[formula.pk])
    return label_texts.approved_in(formula)[language]


def _label(scene: Scene, name: str, lot: FillingLot) -> None:
    """Print the labels, stick them on, and count where each of them went."""
    label = text_for(scene, lot, LANGUAGES.get(name, "en"))
    smeared, specimens = SMEARED.get(name, ()), SPECIMENS.get(name, 0)
    _issue(scene, lot, label, range(1, lot.count + 1), specimens=specimens)
    if smeared:
        reason = "The printer smeared it."
        _issue(scene, lot, label, smeared, reason=reason)
    counted = {
        Kind.APPLIED: lot.count,
        Kind.SPOILED: len(smeared),
        Kind.SPECIMEN: specimens,
    }
    for kind, count in counted.items():
        if count:
            scene.clock.wait(1)
            labelling.count_labels(
                by=scene.users[HELPER], filling_lot=lot, kind=kind, count=count
            )


def _issue(
    scene: Scene,
    lot: FillingLot,
    label: LabelVersion,
    numbers: Sequence[int],
    *,
    specimens: int = 0,
    reason: str = "",
) -> None:
    doses = [(row.word, row.ml) for row in dose_table(lot.batch)] if label.doses else ()
    labelling.issue(
        by=scene.users[HELPER],
        filling_lot=lot,
        label=label,
        placement=Placement(TENS),
        numbers=numbers,
        fits=check_fit,
        specimens=specimens,
        band=bands_of(lot).reckoned,
        doses=doses,
        reason=reason,
    )
    scene.clock.wait(2 + len(numbers) / 4)


def _weigh(scene: Scene, name: str, lot: FillingLot) -> None:
    """Weigh every bottle; by dice of its own, so that no other gram changes."""
    dice = random.Random(f"{SEED} {name}")  # noqa: S311 - for grams, not for secrets
    wanted = int(Decimal(lot.nominal_ul) * lot.density)
    record_fill_check(
        by=scene.users[HELPER],
        filling_lot=lot,
        scale=scene.instruments["bench scale"],
        tare_mg=EMPTY_MG[lot.nominal_ul // 1000],
        net_mg=[wanted + dice.randint(1, 6) * GRAM for _ in range(lot.count)],
    )
    scene.clock.wait(lot.count / 3)


def _keep(scene: Scene, lot: FillingLot, number: int | None) -> None:
    cupboard = place(scene, CUPBOARD)
    look_on = scene.clock.day(0) + (lot.use_by - scene.clock.day(0)) / 2
    samples.retain(
        by=scene.users[HELPER],
        filling_lot=lot,
        mass_mg=SAMPLE_MG,
        place=cupboard,
        look_on=look_on,
    )
    if number is not None:
        samples.retain(
            by=scene.users[HELPER],
            filling_lot=lot,
            bottle=lot.bottles.get(number=number),
            place=cupboard,
            look_on=lot.use_by,
            note="for the day on which somebody complains",
        )


def look_at_jar(scene: Scene, name: str) -> None:
    """Hold the jar of a filling lot against the light, weeks before its day.

    The next time is on its use-by date.
    """
    lot = scene.fillings[name]
    samples.look(
        by=scene.users[HELPER],
        sample=lot.samples.get(bottle=None),
        state=SampleLook.State.AS_FILLED,
        found="Clear to the bottom, of one piece, smells of soap and of nothing else.",
        look_on=lot.use_by,
    )
    scene.clock.wait(3)
