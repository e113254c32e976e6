"""In one's own garden: a leaf tried first, and the tank that was mixed for beans."""

from __future__ import annotations

from decimal import Decimal

from batches.models import PatchTest
from batches.services import spraying
from producer.models import RulesCheck
from producer.services.rules import record_rules_check
from quality.demo.making import GRAM
from quality.demo.people import HELPER, OWNER
from quality.demo.scene import Scene
from quality.services import spray_mixes

PLANT, RATE = "broad beans", Decimal(5)
BATCH = "spray 2"


def look_up_rules(scene: Scene) -> None:
    """Read what the authority says, and write down the day; all of it invented."""
    record_rules_check(
        by=scene.users[OWNER],
        topic=RulesCheck.Topic.SPRAY,
        country="the invented county of Nether Hollinmere",
        page="leaflet at the county office, invented for this demo",
        says="Home-made sprays are for one's own garden and are given to nobody.",
        again_on=scene.clock.day(-300),
    )
    scene.clock.wait(6)


def try_a_leaf(scene: Scene) -> PatchTest:
    """Wet one leaf, and come back in two days."""
    return spraying.begin_patch_test(
        by=scene.users[HELPER],
        source=scene.batch(BATCH),
        plant=PLANT,
        target_g_per_l=RATE,
        note="the outermost plant of the second row",
    )


def look_at_leaf(scene: Scene, test: PatchTest) -> None:
    """See that nothing has happened to it."""
    spraying.look_at_patch_test(
        by=scene.users[HELPER], test=test, result=PatchTest.Result.UNHARMED
    )


def spray_beans(scene: Scene) -> None:
    """Mix a small tank in the evening, and write down what became of the rest."""
    mix = spray_mixes.mix(
        by=scene.users[HELPER],
        source=scene.batch(BATCH),
        mass_mg=150 * GRAM,
        tank_ul=5_000_000,
        target_g_per_l=RATE,
        hardness=Decimal("0.2"),
        pre_dissolved=True,
        plant=PLANT,
        pest="black aphids",
        where="kitchen garden, second bed",
        weather="14 °C, still, overcast",
        bees="none flying; the beans are not in flower",
    )
    scene.clock.wait(40)
    spray_mixes.note_leftovers(
        by=scene.users[HELPER], mix=mix, leftovers="None: the tank is empty, rinsed."
    )
    scene.clock.wait(5)
