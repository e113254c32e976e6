"""Paste set aside in tubs, and a code at the door that was never issued."""

from __future__ import annotations

from batches.services import portions, scans
from producer.codes import new_bottle_code
from quality.demo.bottling import place
from quality.demo.making import GRAM
from quality.demo.people import HELPER
from quality.demo.scene import Scene


def set_aside(scene: Scene, batch: str) -> None:
    """Split what is left of a paste: a tub for each thing it is meant for."""
    for grams, purpose in ((350, "floors of the dairy"), (250, "spray in spring")):
        portions.set_aside(
            by=scene.users[HELPER],
            batch=scene.batch(batch),
            mass_mg=grams * GRAM,
            place=place(scene, "cellar shelf"),
            purpose=purpose,
        )
        scene.clock.wait(4)


def a_strange_code() -> None:
    """Let somebody outside scan a code that fits and that no bottle carries."""
    code = new_bottle_code()
    for _ in range(2):
        scans.count_unknown(code)
    scans.flush()
