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
    attempt,
    bottles_of,
    bottles_that_are,
    close_recall,
    evaluate,
    move_bottles,
    open_recall,
)
from quality.models import Recall, RecallContact
from quality.services.recall_holders import holders_of, listed

Means, Outcome = RecallContact.Means, RecallContact.Outcome
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
    recall = _recall(scene)
    clock.set(60, "14:28")
    evaluate(
        scene,
        recall,
        depth=Recall.Depth.CONSUMER,
        happened="Nothing that anybody told us of.",
        exposed="Whoever washes by hand with it; children who get at a bottle.",
        harm="Sore skin or eyes for some days, if enough of the rinse stayed in the"
        " tank.",
        likelihood="The supplier thinks of a few litres in a tank of thousands; bottles"
        " are used up within weeks.",
    )
    clock.set(60, "14:31")
    attempt(
        scene,
        recall,
        Outcome.REACHED,
        to="larder",
        said="Takes them off the shelf at once and rings whoever had one.",
        held=9,
    )
    clock.wait(6)
    attempt(scene, recall, Outcome.NOT_REACHED, to="refill", said="It only rings.")
    clock.set(59, "09:10")
    attempt(
        scene,
        recall,
        Outcome.REACHED,
        to="refill",
        said="All eight are still in the crate; sends them back.",
        held=8,
    )
    clock.set(59, "11:20")
    attempt(
        scene,
        recall,
        Outcome.NOT_REACHED,
        to="school",
        means=Means.NOTICE,
        said="A notice hangs at the gate; nobody knows their number.",
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
    attempt(
        scene,
        _recall(scene),
        Outcome.NONE_LEFT,
        to="school",
        means=Means.IN_PERSON,
        said="Read the notice; brought one back, and one that was poured away.",
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
    close_recall(
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
    # Of all to whom it went: none is looked for by hand, the list says who they are.
    names = {consignee.pk: name for name, consignee in scene.consignees.items()}
    for holder in listed(holders_of(recall)):
        clock.wait(6)
        name = names[holder.consignee_id or 0]
        at_hand = holder.phone or holder.email
        attempt(
            scene,
            recall,
            Outcome.REACHED if at_hand else Outcome.NOT_REACHED,
            to=name,
            by=REVIEWER,
            means=Means.TELEPHONE if holder.phone else Means.EMAIL,
        )
    clock.wait(6)
    advance(scene, recall, "List printed, and the number of each shop found.")
    clock.wait(11)
    close_recall(
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
