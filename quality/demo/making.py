"""Making: cooks, rework, dilutions and fillings, weighed as people weigh."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from decimal import Decimal

from batches.models import Batch, FormulaLine, Reading
from batches.services import cooking, planning
from producer.models import Stock, User
from quality.demo import before
from quality.demo.formulas import PASTE
from quality.demo.people import OWNER, REVIEWER
from quality.demo.registers import BEAKER, JUG, PAN, POT
from quality.demo.scene import Scene
from quality.services import signing

GRAM = 1000  # milligrams
TENTH = 100  # milligrams
SMALL = 200 * GRAM  # below, the small scale, which shows tenths
BIG = 1_500 * GRAM  # above, the pot itself is put on the scale
# Said, and kept, only where a lot that expires earlier is passed over.
LEFT = "the older can stands sealed in the cellar; this one was open on the shelf"
Meaning = signing.Meaning


@dataclasses.dataclass(frozen=True, kw_only=True)
class Outcome:
    """How a batch turned out. Yield in percent of what went in."""

    percent: str
    ph: str
    ph_by: str = "meter"
    clarity: str = Reading.Clarity.CLEAR
    excursion: str = ""


def open_cook(
    scene: Scene,
    name: str,
    *,
    oils_g: int,
    lots: Mapping[str, str],
    maker: str = OWNER,
    is_rework: bool = False,
) -> Batch:
    """Open a batch of paste and choose its lots: material → our name of the lot."""
    batch = planning.open_batch(
        by=scene.users[maker],
        formula_version=scene.formulas[PASTE],
        basis_mg=oils_g * GRAM,
        is_rework=is_rework,
    )
    scene.batches[name] = batch
    scene.clock.wait(3)
    material_of = {scene.materials[name].pk: name for name in lots}
    choices: dict[int, Stock | None] = {
        line.pk: scene.lot(lots[material_of[line.material_id]]).stock
        for line in batch.formula_version.lines.all()
        if line.material_id in material_of
    }
    planning.choose_lots(by=scene.users[maker], batch=batch, choices=choices)
    return batch


def weigh_oils_and_water(scene: Scene, name: str, *, without: str = "") -> None:
    """Weigh every line of a cook but potash, within a gram or two of the plan."""
    batch = scene.batch(name)
    for planned in planning.plan_of(batch).lines:
        if planned.kind in {"potash", without} or planned.source is None:
            continue
        scene.clock.wait(7)
        near = _near(scene, planned.target_mg or 0)
        _charge(scene, batch, planned.line, planned.source, near)


def weigh_potash(scene: Scene, name: str) -> None:
    """Weigh the potash that the plan computes from the oils really in the pot."""
    batch = scene.batch(name)
    for planned in planning.plan_of(batch).lines:
        if planned.kind == "potash" and planned.source and planned.target_mg:
            scene.clock.wait(12)
            near = _near(scene, planned.target_mg, finely=True)
            _charge(scene, batch, planned.line, planned.source, near, finely=True)


def heat(scene: Scene, name: str, *, excursion: str = "") -> None:
    """Watch the temperature through an afternoon; one excursion if there was one."""
    degrees = [scene.dice.randint(550, 690) for _ in range(3)]
    notes = [""] * len(degrees)
    if excursion:
        degrees[1], notes[1] = (
            int(Decimal(excursion) * 10),
            (
                "probe in the middle; over 70 °C: hob off at once, stirred, 64 °C after"
                " 6 minutes"
            ),
        )
    for tenths, note in zip(degrees, notes, strict=True):
        scene.clock.wait(35)
        _read(
            scene,
            scene.batch(name),
            Reading.Characteristic.TEMPERATURE,
            value=Decimal(tenths) / 10,
            instrument="thermometer",
            method=note or "probe in the middle, stirred",
        )


def test_and_weigh(scene: Scene, name: str, outcome: Outcome) -> None:
    """Look at a portion, take the pH, weigh what came out, and finish the record."""
    batch = scene.batch(name)
    if batch.kind == "cook":
        scene.clock.wait(20)
        _read(
            scene,
            batch,
            Reading.Characteristic.CLARITY,
            clarity=outcome.clarity,
            method="10 g in 100 ml of hot distilled water",
        )
    scene.clock.wait(15)
    take_ph(scene, name, outcome.ph, outcome.ph_by)
    scene.clock.wait(10)
    went_in = sum(row.net_mg for row in batch.charges.current())
    share = Decimal(outcome.percent) / 100
    came_out = int(went_in * share) // GRAM * GRAM
    cooking.weigh_bulk(
        by=batch.maker,
        batch=batch,
        scale=scene.instruments["bench scale"],
        gross_mg=came_out + POT,
        tare_mg=POT,
    )
    scene.clock.wait(5)
    cooking.finish(by=batch.maker, batch=batch)


def take_ph(scene: Scene, name: str, value: str, instrument: str) -> None:
    """Take the pH in the way the formula version prescribes."""
    batch = scene.batch(name)
    _read(
        scene,
        batch,
        Reading.Characteristic.PH,
        value=Decimal(value),
        instrument=instrument,
        method=batch.formula_version.ph_method,
    )


def cook(
    scene: Scene,
    name: str,
    *,
    oils_g: int,
    lots: Mapping[str, str],
    outcome: Outcome,
    maker: str = OWNER,
) -> None:
    """Make a whole cook, from opening the record to handing it over."""
    open_cook(scene, name, oils_g=oils_g, lots=lots, maker=maker)
    weigh_oils_and_water(scene, name)
    weigh_potash(scene, name)
    heat(scene, name, excursion=outcome.excursion)
    test_and_weigh(scene, name, outcome)


def rework(
    scene: Scene,
    name: str,
    *,
    of: str,
    oils_g: int,
    lots: Mapping[str, str],
    outcome: Outcome,
) -> None:
    """Take up the free alkali of a rejected paste with more oil, without potash."""
    open_cook(scene, name, oils_g=oils_g, lots=lots, is_rework=True)
    batch, old = scene.batch(name), scene.batch(of)
    scene.clock.wait(10)
    _charge(scene, batch, None, old.stock, old.stock.on_hand_mg)
    weigh_oils_and_water(scene, name, without="water")
    heat(scene, name)
    test_and_weigh(scene, name, outcome)


def dilute(
    scene: Scene,
    name: str,
    *,
    formula: str,
    paste: str,
    paste_g: int,
    lots: Mapping[str, str],
    outcome: Outcome,
    maker: str = OWNER,
) -> None:
    """Thin paste with water; ratios by mass."""
    user = scene.users[maker]
    version = scene.formulas[formula]
    batch = planning.open_batch(
        by=user, formula_version=version, basis_mg=paste_g * GRAM
    )
    scene.batches[name] = batch
    scene.clock.wait(3)
    material_of = {scene.materials[name].pk: name for name in lots}
    planning.choose_lots(
        by=user,
        batch=batch,
        choices={
            line.pk: scene.batch(paste).stock
            if line.material_id is None
            else scene.lot(lots[material_of[line.material_id]]).stock
            for line in version.lines.all()
        },
    )
    for planned in planning.plan_of(batch).lines:
        if planned.source is None or planned.target_mg is None:
            continue
        scene.clock.wait(8)
        near = _near(scene, planned.target_mg)
        _charge(scene, batch, planned.line, planned.source, near)
    scene.clock.wait(60)  # until the paste has dissolved
    test_and_weigh(scene, name, outcome)


def sign(
    scene: Scene, name: str, meaning: str, reviewer: str, reason: str = ""
) -> None:
    """Let the reviewer sign, with the password typed again."""
    signing.sign(
        by=scene.users[reviewer],
        batch=scene.batch(name),
        meaning=meaning,
        password=scene.passwords[reviewer],
        reason=reason,
    )


def release_batch(scene: Scene, name: str, days_ago: int) -> None:
    """Let the reviewer, who comes in the evening, look at the record and sign."""
    scene.clock.set(days_ago, "18:40")
    sign(
        scene,
        name,
        Meaning.RELEASE,
        REVIEWER,
        "Read through; a portion set aside stayed clear overnight.",
    )


def _near(scene: Scene, target_mg: int, *, finely: bool = False) -> int:
    """Return a mass as somebody weighs it: two steps of the scale off at most."""
    step = TENTH if finely or target_mg < SMALL else GRAM
    return (round(target_mg / step) + scene.dice.randint(-2, 2)) * step


def _charge(
    scene: Scene,
    batch: Batch,
    line: FormulaLine | None,
    source: Stock,
    net_mg: int,
    *,
    finely: bool = False,
) -> None:
    """Weigh an amount on the scale it fits, in the vessel it fits."""
    if finely or net_mg < SMALL:
        tare, scale = (PAN if net_mg > SMALL else BEAKER), "small scale"
    else:
        tare, scale = (JUG if net_mg < BIG else POT), "bench scale"
    before.go_through(scene, batch)
    cooking.charge(
        by=_hand(batch),
        batch=batch,
        line=line,
        source=source,
        scale=scene.instruments[scale],
        gross_mg=net_mg + tare,
        tare_mg=tare,
        how=cooking.How(passed_over=LEFT),
    )


def _read(
    scene: Scene,
    batch: Batch,
    characteristic: Reading.Characteristic,
    *,
    value: Decimal | None = None,
    clarity: str = "",
    instrument: str = "",
    method: str,
) -> None:
    cooking.record_reading(
        by=_hand(batch),
        batch=batch,
        characteristic=characteristic,
        value=value,
        clarity=clarity,
        method=method,
        instrument=scene.instruments[instrument] if instrument else None,
    )


def _hand(batch: Batch) -> User:
    return batch.maker
