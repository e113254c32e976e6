"""What went wrong and what was done about it: deviations, changes after signature."""

from __future__ import annotations

from decimal import Decimal

from batches.models import Reading
from producer.models import Instrument, Stock
from quality.demo import bench
from quality.demo.making import Meaning, sign
from quality.demo.people import HELPER, OWNER, REVIEWER
from quality.demo.scene import Scene
from quality.models import Deviation, DeviationStep
from quality.services import changing, deviating

Class, Kind, Decision = Deviation.Class, DeviationStep.Kind, DeviationStep.Decision


def the_first_cook_was_too_sharp(scene: Scene) -> None:
    """Write down why the first cook failed, and that it is to be rejected."""
    deviation = _open(
        scene,
        Class.MAJOR,
        "pH 11.05 against a limit of 10.4, same on a second dip.",
        stock=scene.batch("cook 1").stock,
        characteristic="ph",
    )
    _explain(
        scene,
        deviation,
        cause="The potash was weighed by a certificate that says only “at least 85 %”;"
        " this lot can be stronger.",
        action="Fennimore is asked for the analysis of this very lot; nothing more is"
        " cooked with it until that is here.",
    )
    _close(scene, deviation, Decision.REJECTED, "Too much alkali: not to be released.")


def a_hot_pot(scene: Scene) -> None:
    """Look into the afternoon that ran over 70 °C before the batch is reviewed."""
    deviation = _open(
        scene,
        Class.MINOR,
        "74.5 °C for some minutes; the formula allows 70 °C. Nothing boiled over.",
        stock=scene.batch("cook 6").stock,
        by=OWNER,
    )
    _explain(
        scene,
        deviation,
        cause="The hob was left on full while the second jar was fetched.",
        action="Hob off at once and stirred. The pot is no longer left while the hob"
        " is above half.",
    )
    scene.clock.set(61, "18:20")
    _close(
        scene,
        deviation,
        Decision.NO_EFFECT,
        "No more water gone than usual, by the weighing; clear, and the pH is inside.",
    )


def a_reading_put_right(scene: Scene) -> None:
    """Find a pH copied wrongly after the signature; review it again next day."""
    scene.clock.set(24, "17:35")
    _change_ph(
        scene,
        "wash 5",
        "9.89",
        "Copied from the line above in the notebook: the meter had shown 9.89.",
    )
    scene.clock.set(23, "18:40")
    sign(
        scene,
        "wash 5",
        Meaning.UNHOLD,
        REVIEWER,
        "9.89 stands in the notebook and is inside the limits too; all else unchanged.",
    )


def a_scale_that_was_off(scene: Scene) -> None:
    """Drop the bench scale, find it 14 g off, have it set right; not yet decided."""
    bench.check_scale(scene, "5014")
    deviation = _open(
        scene,
        Class.MAJOR,
        "The bench scale shows 14 g too much at 5 kg; it had been knocked off the bench"
        " while the store was swept.",
        instrument=scene.instruments["bench scale"],
    )
    _explain(
        scene,
        deviation,
        cause="Knocked off the bench on the evening before, after the last weighing.",
        action="Set right by the scale maker's man, and held against the check weight"
        " again.",
    )
    scene.clock.wait(180)
    bench.check_scale(scene, "5001")


def a_change_waiting_for_review(scene: Scene) -> None:
    """Correct a pH in a signed batch; it is on hold until it is reviewed again."""
    _change_ph(
        scene,
        "spray 2",
        "9.17",
        "Two figures swapped when it was typed in: the sheet says 9.17.",
    )


def _change_ph(scene: Scene, name: str, value: str, reason: str) -> None:
    batch = scene.batch(name)
    reading = Reading.objects.current().get(
        batch=batch, characteristic=Reading.Characteristic.PH
    )
    changing.change_reading(
        by=scene.users[HELPER],
        reading=reading,
        value=Decimal(value),
        method=reading.method,
        instrument=reading.instrument,
        reason=reason,
    )


def _open(
    scene: Scene,
    classification: Deviation.Class,
    what: str,
    *,
    stock: Stock | None = None,
    instrument: Instrument | None = None,
    characteristic: str = "",
    by: str = HELPER,
) -> Deviation:
    deviation = deviating.open_deviation(
        by=scene.users[by],
        classification=classification,
        what=what,
        stock=stock,
        instrument=instrument,
        characteristic=characteristic,
    )
    scene.clock.wait(4)
    return deviation


def _explain(scene: Scene, deviation: Deviation, *, cause: str, action: str) -> None:
    for kind, text in ((Kind.CAUSE, cause), (Kind.ACTION, action)):
        deviating.add_step(
            by=scene.users[OWNER], deviation=deviation, kind=kind, text=text
        )
        scene.clock.wait(5)


def _close(
    scene: Scene, deviation: Deviation, decision: DeviationStep.Decision, text: str
) -> None:
    deviating.close_deviation(
        by=scene.users[REVIEWER],
        deviation=deviation,
        decision=decision,
        text=text,
        password=scene.passwords[REVIEWER],
    )
    scene.clock.wait(6)
