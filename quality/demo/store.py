"""In the store: tins of potash, and the stock-take before the cold months."""

from __future__ import annotations

from collections.abc import Mapping

from batches.services import containers as scales
from producer.services import containers, counting
from quality.demo.people import HELPER
from quality.demo.scene import Scene

GRAM = 1000  # milligrams
TIN = 236 * GRAM  # an empty tin with its lid
SHELF = "locked cabinet, lower shelf"


def put_in_tins(scene: Scene, name: str, count: int) -> None:
    """Register the tins of a lot, in equal parts; nobody knows their tare yet."""
    lot = scene.lot(name)
    containers.register(
        by=scene.users[HELPER],
        lot=lot,
        fillings=containers.alike(
            count=count, each_mg=lot.stock.on_hand_mg // count, place=SHELF
        ),
    )
    scene.clock.wait(2)


def weigh_tin(
    scene: Scene, name: str, number: int, more_g: int = 0, *, opening: bool = False
) -> None:
    """Put one tin on the scale; it weighs so much more than its book says."""
    lot = scene.lot(name)
    tin = containers.containers_of(lot)[number - 1]
    scales.weigh_container(
        by=scene.users[HELPER],
        lot=lot,
        container=tin,
        scale=scene.instruments["bench scale"],
        gross_mg=tin.book_mg + TIN + more_g * GRAM,
        opening=opening,
    )
    scene.clock.wait(3)


def take_stock(scene: Scene, missing: Mapping[str, tuple[int, str]]) -> None:
    """Count everything; our name of a lot → grams that are missing, and why."""
    less = {scene.lots[name].pk: said for name, said in missing.items()}
    counts = []
    for one in counting.to_count():
        grams, why = less.get(one.lot.pk, (0, ""))
        counts.append(
            counting.Counted(
                lot=one.lot,
                container=one.container,
                counted_mg=one.book_mg - grams * GRAM,
                reason=why,
            )
        )
    counting.take_stock(
        by=scene.users[HELPER],
        counts=counts,
        note="Everything in cabinet, pantry and shed.",
    )
    scene.clock.wait(50)
