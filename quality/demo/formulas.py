"""The three formulas of the smallholding, and what results are held against."""

from __future__ import annotations

from decimal import Decimal

from batches.models import Formula
from batches.services import formulas
from batches.services.formulas import Line, Wording
from quality.demo.people import OWNER, REVIEWER
from quality.demo.scene import Scene
from quality.models import Characteristic, Limit
from quality.services.limits import set_limit

GRAM = 1000  # milligrams
PASTE, WASH, SPRAY = "paste", "wash", "spray"


def write_formulas(scene: Scene) -> None:
    """Write the paste, what is thinned from it for washing, and what for spraying."""
    scene.formulas[PASTE] = formulas.write_formula(
        by=scene.users[OWNER],
        name="Soft soap paste, three oils",
        kind=Formula.Kind.COOK,
        purpose=Formula.Purpose.PASTE,
        wording=Wording(product_name="Soft soap paste", shelf_life_days=365),
        lines=[
            _of(scene, "sunflower", 500),
            _of(scene, "coconut", 300),
            _of(scene, "rapeseed", 200),
            _of(scene, "water", 700),
            Line(material=scene.materials["potash"]),
        ],
    )
    scene.clock.wait(25)
    scene.formulas[WASH] = formulas.write_formula(
        by=scene.users[OWNER],
        name="Laundry soap, liquid",
        kind=Formula.Kind.DILUTION,
        purpose=Formula.Purpose.WASH,
        wording=Wording(
            product_name="Liquid laundry soap",
            shelf_life_days=540,
            directions=(
                "Laundry: 40 ml for a full drum in soft water, 60 ml in hard."
                " Floors: 20 ml in a bucket of warm water."
            ),
        ),
        lines=[
            Line(source_formula=scene.formulas[PASTE].formula, per_kg_mg=1000 * GRAM),
            _of(scene, "water", 1500),
            _of(scene, "citric", 3),
        ],
    )
    scene.clock.wait(25)
    scene.formulas[SPRAY] = formulas.write_formula(
        by=scene.users[OWNER],
        name="Garden spray concentrate",
        kind=Formula.Kind.DILUTION,
        purpose=Formula.Purpose.SPRAY,
        wording=Wording(
            product_name="Soft soap spray concentrate",
            shelf_life_days=270,
            directions=(
                "Thin 1 part with 29 parts of soft water. Wet the pests on both sides"
                " of the leaf, in the evening or under cloud. It works only while wet."
            ),
            cautions=(
                "Contains coconut soap, which can mark tender leaves: wet a few leaves"
                " first and wait two days. Keep out of ponds and streams."
            ),
        ),
        lines=[
            Line(source_formula=scene.formulas[PASTE].formula, per_kg_mg=1000 * GRAM),
            _of(scene, "water", 2000),
        ],
    )


MATERIAL_LIMITS = (
    (
        "potash",
        Characteristic.ASSAY,
        "84",
        None,
        "As ordered; weaker flakes have lain open somewhere.",
    ),
    (
        "sunflower",
        Characteristic.SAPONIFICATION_VALUE,
        "186",
        "195",
        "Outside it is another oil, or mixed: ask before it goes into the pot.",
    ),
    (
        "coconut",
        Characteristic.SAPONIFICATION_VALUE,
        "248",
        "265",
        "Outside it is another oil, or mixed: ask before it goes into the pot.",
    ),
)


def set_limits(scene: Scene) -> None:
    """Set the limits; the reviewer does, and says why each stands where it does."""
    for name in (PASTE, WASH, SPRAY):
        _limit(
            scene,
            name,
            Characteristic.PH,
            "9.0",
            "10.4",
            "Below it the soap splits, above it there is free alkali; from our own"
            " first trials, to be looked at again each spring.",
        )
        if name == PASTE:
            _limit(
                scene,
                name,
                Characteristic.CLARITY,
                None,
                None,
                "A cloudy portion has unreacted oil, which pH cannot see.",
            )
    _limit(
        scene,
        PASTE,
        Characteristic.YIELD_VARIANCE,
        "-6",
        "0.3",
        "Up to 5 % boils off in an afternoon, and some paste stays on the paddle.",
    )
    for name in (WASH, SPRAY):
        _limit(
            scene,
            name,
            Characteristic.YIELD_VARIANCE,
            "-3",
            "0.3",
            "Nothing boils here: more than 3 % missing means something was spilt.",
        )
    _limit(
        scene,
        WASH,
        Characteristic.NET_CONTENT,
        "100",
        None,
        "On average a bottle holds what its label says.",
    )
    for material, characteristic, lower, upper, reason in MATERIAL_LIMITS:
        scene.clock.wait(3)
        set_limit(
            by=scene.users[REVIEWER],
            material=scene.materials[material],
            characteristic=characteristic,
            lower=Decimal(lower),
            upper=None if upper is None else Decimal(upper),
            effect=Limit.Effect.WARN,
            reason=reason,
        )


def _of(scene: Scene, material: str, grams_per_kg: int) -> Line:
    return Line(material=scene.materials[material], per_kg_mg=grams_per_kg * GRAM)


def _limit(
    scene: Scene,
    formula: str,
    characteristic: Characteristic,
    lower: str | None,
    upper: str | None,
    reason: str,
) -> None:
    scene.clock.wait(3)
    set_limit(
        by=scene.users[REVIEWER],
        formula_version=scene.formulas[formula],
        characteristic=characteristic,
        lower=None if lower is None else Decimal(lower),
        upper=None if upper is None else Decimal(upper),
        reason=reason,
    )
