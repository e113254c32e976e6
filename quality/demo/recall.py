"""The recall in the past: a tank that had been cleaned, and where its oil had gone."""

from __future__ import annotations

from batches.lifecycle import BottleStatus
from producer.models import RawLot
from quality.demo.goods import decide, throw_away_rest
from quality.demo.making import Meaning, sign
from quality.demo.people import HELPER, REVIEWER
from quality.demo.scene import Scene
from quality.demo.selling import (
    advance,
    bottles_of,
    bottles_that_are,
    move_bottles,
    open_recall,
)
from quality.models import Recall

OIL, PASTE, LIQUID, BOTTLES = "sunflower B", "cook 5", "wash 3", "F5"


def open_and_tell(scene: Scene) -> None:
    """Open the recall as soon as the supplier rings, and tell the holders."""
    clock = scene.clock
    clock.set(60, "14:20")
    open_recall(
        scene,
        scene.lot(OIL).stock,
        reason=(
            "Tidewater Wholefoods rang at 14:05: the tank of lot TW-S209 was cleaned"
            " with a caustic rinse and may not have been flushed before filling."
        ),
        notice=(
            "Please do not use this bottle. It may hold residue of a cleaning agent."
            " Bring it back to where you had it, or ring us and we fetch it."
        ),
    )
    clock.set(59, "11:45")
    advance(
        scene,
        _recall(scene),
        "Both shops told by telephone and e-mail, with the numbers of the bottles; a"
        " notice hangs at the open-day gate.",
    )


def fetch_bottles(scene: Scene) -> None:
    """Fetch bottles back: from shelves, from customers, from the open day."""
    clock = scene.clock
    clock.set(58, "10:30")
    _back(scene, range(1, 10), "Fetched from the shelf of the Hollinmere Larder.")
    clock.set(57, "15:10")
    _back(scene, range(13, 21), "Sent back by the Owlswick Refill Room, all eight.")
    clock.set(56, "17:40")
    _back(scene, (10, 11, 21), "Brought back by customers who read the notice.")
    move_bottles(
        scene,
        bottles_of(scene, BOTTLES, (22,)),
        BottleStatus.DESTROYED,
        "Its holder had poured it away before the notice and brought it back empty.",
        by=HELPER,
    )


def close(scene: Scene) -> None:
    """Destroy everything that is left, on record, and close the recall."""
    clock = scene.clock
    clock.set(47, "09:30")
    for status in (BottleStatus.RECOVERED, BottleStatus.ON_HOLD):
        move_bottles(
            scene,
            bottles_that_are(scene, BOTTLES, status),
            BottleStatus.DESTROYED,
            "Emptied into drums for the council's collecting point; bottle crushed.",
            by=HELPER if status == BottleStatus.RECOVERED else REVIEWER,
        )
    for name in (LIQUID, PASTE):
        clock.wait(10)
        sign(scene, name, Meaning.REJECT, REVIEWER, "Made with the recalled oil.")
        clock.wait(2)
        sign(
            scene,
            name,
            Meaning.DISPOSE,
            REVIEWER,
            "Handed in at the council's collecting point, receipt in the folder.",
        )
    clock.wait(5)
    decide(scene, OIL, RawLot.Status.REJECTED, "Recalled by its supplier.")
    throw_away_rest(scene, OIL, "Fetched by the supplier's van against receipt.")
    clock.set(46, "18:15")
    advance(
        scene,
        _recall(scene),
        "Of 22 bottles that had left, 20 came back, one was emptied by its holder and"
        " one was not found. The 10 that were here never left. All 31 are destroyed.",
    )


def mock_recall(scene: Scene) -> None:
    """Try the same steps once more, from the potash, without a bell."""
    clock = scene.clock
    clock.set(26, "18:00")
    recall = open_recall(
        scene,
        scene.lot("potash B").stock,
        reason="Mock recall: how long until every bottle is placed and every holder"
        " has a number to ring?",
        notice="None: nothing is wrong, this is an exercise.",
        is_mock=True,
    )
    clock.wait(24)
    advance(scene, recall, "List printed and both shops' numbers tried: 24 minutes.")
    clock.wait(11)
    advance(
        scene,
        recall,
        "Every bottle was where the list said; counted on the shelf here.",
    )


def _recall(scene: Scene) -> Recall:
    return Recall.objects.get(root_id=scene.lots[OIL].pk)


def _back(scene: Scene, numbers: range | tuple[int, ...], reason: str) -> None:
    move_bottles(
        scene,
        bottles_of(scene, BOTTLES, numbers),
        BottleStatus.RECOVERED,
        reason,
        by=HELPER,
    )
