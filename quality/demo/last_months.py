"""The last three months: fuller shelves, a recall and a mock recall, and today."""

from __future__ import annotations

from decimal import Decimal

from batches.lifecycle import BottleStatus
from batches.models import Loss
from batches.services import cooking
from producer.models import Certificate, RawLot
from quality.demo import (
    bench,
    garden,
    judging,
    money,
    recall,
    registers,
    store,
    told,
    tubs,
)
from quality.demo.bottling import bottle, fill, finish, look_at_jar
from quality.demo.formulas import SPRAY, WASH
from quality.demo.goods import (
    Delivery,
    Values,
    add_certificate,
    count,
    decide,
    receive,
    release,
)
from quality.demo.making import (
    GRAM,
    Outcome,
    cook,
    dilute,
    heat,
    open_cook,
    release_batch,
    test_and_weigh,
    weigh_oils_and_water,
    weigh_potash,
)
from quality.demo.people import HELPER, OWNER
from quality.demo.scene import Scene
from quality.demo.selling import bottles_of, dispatch, move_bottles

COOK = {
    "sunflower": "sunflower C",
    "coconut": "coconut C",
    "rapeseed": "rapeseed A",
    "water": "water B",
    "potash": "potash B",
}
THIN = {"water": "water B", "citric": "citric A"}


def new_stock(scene: Scene) -> None:
    """Receive new lots of everything; send one drum of coconut oil back."""
    clock = scene.clock
    clock.set(96, "09:30")
    bench.check_scale(scene, "5000")
    bench.check_meter(scene, ("7.04", "10.05"))
    clock.set(96, "10:20")
    _potash(scene, "potash B", 96, "KF-2417", "3", "90.4", "0.8")
    clock.set(96, "16:40")
    count(scene, "water A", "1.1", "A splash is left in the can at each pouring.")
    clock.set(95, "18:20")
    release(scene, "potash B")
    clock.set(90, "11:15")
    _oil(scene, "coconut", "coconut B", 90, "TW-C088", "5", "256.2")
    clock.set(89, "18:10")
    decide(
        scene,
        "coconut B",
        RawLot.Status.REJECTED,
        "Seal broken and it smells rancid; the certificate names lot TW-C083. Back to"
        " Tidewater with the next van.",
    )
    clock.set(84, "10:05")
    _oil(scene, "coconut", "coconut C", 84, "TW-C094", "5", "258.4")
    clock.set(83, "18:15")
    release(scene, "coconut C")
    clock.set(80, "09:40")
    receive(
        scene,
        "water B",
        80,
        Delivery(
            material="water",
            supplier="still",
            supplier_lot="D-0388",
            kilograms="30",
            expires_in=280,
            place="dry store",
            maker=HELPER,
        ),
    )
    clock.set(79, "18:30")
    release(scene, "water B")
    clock.set(66, "10:50")
    _oil(scene, "sunflower", "sunflower C", 66, "TW-S231", "10", "190.9")
    clock.set(65, "18:25")
    release(scene, "sunflower C")


def a_hot_afternoon(scene: Scene) -> None:
    """Make a cook that ran over 70 °C for some minutes, and write that down."""
    scene.clock.set(62, "09:15")
    cook(
        scene,
        "cook 6",
        oils_g=2500,
        lots=COOK,
        outcome=Outcome(percent="95.4", ph="9.5", ph_by="old strips", excursion="74.5"),
    )
    judging.a_hot_pot(scene)
    release_batch(scene, "cook 6", 61)


def the_recall(scene: Scene) -> None:
    """Go through the recall, and the work that went on beside it."""
    clock = scene.clock
    recall.open_and_tell(scene)
    recall.fetch_bottles(scene)
    clock.set(55, "10:00")
    _wash(scene, "wash 4", "cook 6", 4300, Outcome(percent="98.8", ph="9.66"))
    release_batch(scene, "wash 4", 54)
    clock.set(53, "10:20")
    bottle(scene, "F6", batch="wash 4", count=20, millilitres=500, density="1.019")
    clock.set(50, "14:50")
    dispatch(scene, "F6", 1, 10, to="refill")
    recall.close(scene)


def fuller_shelves(scene: Scene) -> None:
    """Make a large cook, correct one weighing in it, and fill many bottles."""
    clock = scene.clock
    clock.set(41, "09:05")
    open_cook(scene, "cook 7", oils_g=2800, lots=COOK, maker=HELPER)
    weigh_oils_and_water(scene, "cook 7")
    _correct_a_tare(scene, "cook 7")
    weigh_potash(scene, "cook 7")
    heat(scene, "cook 7")
    bench.lose(
        scene,
        "cook 7",
        Loss.Kind.EVAPORATION,
        97,
        "pot on the scale before the fire and after",
    )
    bench.lose(scene, "cook 7", Loss.Kind.SAMPLE, 24, "clarity, pH, and one kept")
    test_and_weigh(scene, "cook 7", Outcome(percent="96.9", ph="9.77"))
    release_batch(scene, "cook 7", 40)
    clock.set(39, "09:10")
    registers.open_new_strips(scene)
    clock.set(36, "10:00")
    _wash(scene, "wash 5", "cook 7", 4500, Outcome(percent="99.0", ph="9.69"))
    release_batch(scene, "wash 5", 35)
    clock.set(34, "10:30")
    fill(
        scene,
        "F7",
        batch="wash 5",
        count=42,
        millilitres=250,
        density="1.018",
        missing_g=38,
    )
    bench.check_filling(scene, "F7")
    finish(scene, "F7", keep=42)
    clock.set(28, "15:30")
    dispatch(scene, "F7", 1, 18, to="larder")
    recall.mock_recall(scene)
    judging.a_reading_put_right(scene)


def the_last_weeks(scene: Scene) -> None:
    """Get a conditional pass by strips, make a spray, take a bottle back."""
    clock = scene.clock
    clock.set(22, "11:00")
    bench.weigh_container(scene, "potash A", "8.4")
    clock.set(21, "16:20")
    look_at_jar(scene, "F1")
    clock.set(20, "08:30")
    bench.check_scale(scene, "5002")
    clock.set(20, "09:30")
    _a_cook_put_right(scene)
    release_batch(scene, "cook 8", 19)
    clock.set(16, "10:00")
    dilute(
        scene,
        "spray 2",
        formula=SPRAY,
        paste="cook 8",
        paste_g=1200,
        lots={"water": "water B"},
        outcome=Outcome(percent="99.1", ph="9.71"),
        maker=HELPER,
    )
    release_batch(scene, "spray 2", 15)
    clock.set(14, "11:10")
    bottle(scene, "F8", batch="spray 2", count=12, millilitres=250, density="1.007")
    leaf = garden.try_a_leaf(scene)
    clock.set(13, "10:00")
    _wash(scene, "wash 6", "cook 8", 2400, Outcome(percent="99.2", ph="9.83"))
    release_batch(scene, "wash 6", 12)
    garden.look_at_leaf(scene, leaf)
    garden.look_up_rules(scene)
    clock.set(11, "10:15")
    fill(scene, "F9", batch="wash 6", count=22, millilitres=250, density="1.016")
    bench.check_filling(scene, "F9")
    finish(scene, "F9")
    clock.set(10, "18:50")
    dispatch(scene, "F8", 1, 3, to="garden")
    garden.spray_beans(scene)
    told.a_leak(scene)
    clock.set(9, "12:30")
    move_bottles(
        scene,
        bottles_of(scene, "F6", (7,)),
        BottleStatus.RETURNED,
        "The Refill Room sent it back: the cap leaks.",
        by=HELPER,
    )
    told.what_was_found(scene)
    clock.set(7, "15:15")
    dispatch(scene, "F9", 1, 6, to="refill")
    clock.set(5, "12:05")
    dispatch(scene, "F9", 7, 8, to="neighbour")
    clock.set(5, "13:10")
    judging.a_scale_that_was_off(scene)


def _a_cook_put_right(scene: Scene) -> None:
    """Find free alkali by titration, take it up with citric acid, and look again."""
    open_cook(scene, "cook 8", oils_g=2000, lots=COOK)
    weigh_oils_and_water(scene, "cook 8")
    weigh_potash(scene, "cook 8")
    heat(scene, "cook 8")
    bench.titrate_batch(
        scene, "cook 8", [(20_300, "7.85"), (19_800, "7.55"), (20_100, "7.70")], "0.1"
    )
    bench.correct(
        scene,
        "cook 8",
        "citric A",
        78,
        "Free alkali by titration after cooking on for an hour; 90 % of the computed"
        " dose, as a weak solution, in four portions.",
    )
    bench.titrate_batch(scene, "cook 8", [(20_200, "1.05"), (19_900, "1.00")], "0.1")
    test_and_weigh(
        scene, "cook 8", Outcome(percent="97.4", ph="10.0", ph_by="new strips")
    )


def this_week(scene: Scene) -> None:
    """Leave for today: a review, a delivery to decide about, and a pot begun."""
    clock = scene.clock
    clock.set(5, "17:40")
    store.take_stock(
        scene, {"coconut B": (12, "Clings to the spoon and the rim of the can.")}
    )
    clock.set(4, "08:10")
    tubs.set_aside(scene, "cook 7")
    clock.set(4, "09:20")
    cook(
        scene,
        "cook 9",
        oils_g=2400,
        lots=COOK,
        maker=HELPER,
        outcome=Outcome(percent="96.8", ph="9.74"),
    )
    told.the_audit(scene)
    clock.set(3, "10:35")
    _potash(scene, "potash C", 3, "KF-2533", "3", "89.9", "0.7")
    store.put_in_tins(scene, "potash C", 2)
    store.weigh_tin(scene, "potash C", 1)
    store.weigh_tin(scene, "potash C", 2)
    clock.set(2, "10:15")
    judging.a_change_waiting_for_review(scene)
    clock.set(2, "11:40")
    store.weigh_tin(scene, "potash C", 1, 2, opening=True)
    clock.set(1, "14:05")
    money.settle(scene)
    tubs.a_strange_code()
    clock.set(1, "15:30")
    open_cook(scene, "cook 10", oils_g=2200, lots=COOK)
    weigh_oils_and_water(scene, "cook 10")


def _correct_a_tare(scene: Scene, batch: str) -> None:
    scene.clock.wait(2)
    charge = scene.batch(batch).charges.current().order_by("pk")[0]
    cooking.amend_charge(
        by=scene.users[HELPER],
        charge=charge,
        gross_mg=charge.gross_mg,
        tare_mg=charge.tare_mg - GRAM,
        reason="The jug weighs 411 g, not 412 g: weighed again, dry.",
    )


def _potash(
    scene: Scene,
    name: str,
    days_ago: int,
    supplier_lot: str,
    kilograms: str,
    assay: str,
    carbonate: str,
) -> None:
    receive(
        scene,
        name,
        days_ago,
        Delivery(
            material="potash",
            supplier="laboratory",
            supplier_lot=supplier_lot,
            kilograms=kilograms,
            retest_in=365 - days_ago,
            place="locked cabinet",
        ),
    )
    add_certificate(
        scene,
        name,
        Values(
            reference=f"FLS {supplier_lot[3:]}",
            issued_on=scene.clock.day(days_ago + 8),
            assay_percent=Decimal(assay),
            assay_basis=Certificate.Basis.TOTAL_ALKALI,
            carbonate_percent=Decimal(carbonate),
        ),
    )


def _oil(
    scene: Scene,
    material: str,
    name: str,
    days_ago: int,
    supplier_lot: str,
    kilograms: str,
    saponification_value: str,
) -> None:
    receive(
        scene,
        name,
        days_ago,
        Delivery(
            material=material,
            supplier="wholefoods",
            supplier_lot=supplier_lot,
            kilograms=kilograms,
            expires_in=365 - days_ago,
            place="pantry, lower shelf",
            maker=OWNER,
        ),
    )
    add_certificate(
        scene,
        name,
        Values(
            reference=f"TW {supplier_lot[-3:]}4",
            issued_on=scene.clock.day(days_ago + 5),
            saponification_value=Decimal(saponification_value),
        ),
    )


def _wash(scene: Scene, name: str, paste: str, paste_g: int, outcome: Outcome) -> None:
    dilute(
        scene,
        name,
        formula=WASH,
        paste=paste,
        paste_g=paste_g,
        lots=THIN,
        outcome=outcome,
        maker=HELPER,
    )
