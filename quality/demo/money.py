"""What things cost, and small notes of training and equipment."""

from __future__ import annotations

from batches.models import Cost
from batches.services import costs
from producer.models import SafetyNote
from producer.services import prices, safety
from quality.demo.people import HELPER, OWNER
from quality.demo.scene import Scene

# Pence paid for all of a lot, with carriage. The citric acid was a gift, and nobody
# asked what it cost; the still sends its bill later.
PAID = {
    "potash A": 1380,
    "sunflower A": 1020,
    "coconut A": 1290,
    "rapeseed A": 1450,
    "water A": 625,
    "sunflower B": 2380,
    "potash B": 2040,
    "coconut B": 2150,
    "coconut C": 2150,
    "sunflower C": 2490,
    "potash C": 2085,
}
Kind, About = Cost.Kind, SafetyNote.Kind


def settle(scene: Scene) -> None:
    """Enter the bills of the last weeks: water, gas, bottles, labels, and the hours."""
    owner = scene.users[OWNER]
    prices.set_price(by=owner, lot=scene.lot("water B"), paid_hundredths=750)
    for batch, kind, hundredths, note in (
        ("cook 7", Kind.ENERGY, 165, "bottled gas, by the weight of the cylinder"),
        ("cook 7", Kind.HOURS, 3600, "3 hours"),
        ("wash 5", Kind.HOURS, 1800, "1.5 hours"),
        ("wash 5", Kind.BOTTLES, 1848, "42 of 250 ml with caps"),
        ("wash 5", Kind.LABELS, 336, "5 sheets"),
        ("wash 6", Kind.HOURS, 1200, "1 hour"),
        ("wash 6", Kind.BOTTLES, 968, "22 of 250 ml with caps"),
    ):
        scene.clock.wait(2)
        costs.record_cost(
            by=owner,
            batch=scene.batch(batch),
            kind=kind,
            amount_hundredths=hundredths,
            note=note,
        )
    scene.clock.wait(3)
    row = scene.batch("wash 6").costs.current().get(kind=Kind.HOURS)
    costs.amend_cost(
        by=owner,
        cost=row,
        amount_hundredths=1500,
        note="1.25 hours",
        reason="Washing up belongs to it.",
    )


def first_notes(scene: Scene) -> None:
    """Note who was shown how to handle potash, and what protects them."""
    clock, owner = scene.clock, scene.users[OWNER]
    for kind, topic, who, again in (
        (About.TRAINING, "handling potash and lye", OWNER, -190),
        (About.TRAINING, "handling potash and lye", HELPER, -12),
        (About.PROTECTION, "goggles looked at, gloves replaced", None, 3),
        (About.FIRST_AID, "eyewash rinsed, first-aid box complete", None, -25),
        (About.RULES, "labels of detergents, page of the authority", None, -188),
    ):
        clock.wait(2)
        safety.record_note(
            by=owner,
            kind=kind,
            topic=topic,
            person=scene.users[who].person if who else None,
            done_on=clock.day(177),
            due_on=clock.day(again),
        )
