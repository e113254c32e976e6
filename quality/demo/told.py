"""A complaint that was answered, and the audit of the year."""

from __future__ import annotations

from quality.complaint_life import Conclusion, Step
from quality.demo.people import HELPER, OWNER, REVIEWER
from quality.demo.scene import SEED, Scene
from quality.demo.selling import bottles_of
from quality.models import Complaint, ComplaintAccount
from quality.services import complaining, self_inspections

FILLING, NUMBER = "F6", 7


def a_leak(scene: Scene) -> None:
    """Take down what the Refill Room writes about a leaking cap, and answer."""
    clock = scene.clock
    clock.set(10, "20:10")
    (bottle,) = bottles_of(scene, FILLING, (NUMBER,))
    told = complaining.open_complaint(
        by=scene.users[HELPER],
        bottle=bottle,
        means=ComplaintAccount.Means.EMAIL,
        nature=ComplaintAccount.Nature.LEAK,
        words="One bottle stood in a puddle on the shelf; the cap turns on for ever."
        " Nobody touched it with bare hands. They send it back.",
        was_hurt=False,
        consignee=scene.consignees["refill"],
    )
    clock.wait(20)
    _step(
        scene,
        told.complaint,
        Step.REPLY,
        "Thanked them; asked to wipe it up with gloves on, to stand the bottle in a"
        " tub, and to send it back. A full one goes with the next delivery.",
    )


def what_was_found(scene: Scene) -> None:
    """Look at the bottle that came back, and close the complaint."""
    complaint = Complaint.objects.latest("pk")
    clock = scene.clock
    clock.set(9, "13:10")
    _step(
        scene,
        complaint,
        Step.FOUND,
        "The thread of this cap is stripped. The other caps of the bag hold: the"
        " bottles of the filling that are here were turned upside down for an hour,"
        " all dry.",
    )
    _step(scene, complaint, Step.CAUSE, "Cap forced on askew by hand at the filling.")
    _step(
        scene,
        complaint,
        Step.ACTION,
        "From now on each bottle is laid on its side for ten minutes before its label"
        " goes on.",
    )
    clock.set(8, "18:30")
    complaining.add_step(
        by=scene.users[REVIEWER],
        complaint=complaint,
        kind=Step.CONCLUSION,
        conclusion=Conclusion.JUSTIFIED,
        text="Our cap, one bottle; nothing points to the others.",
    )
    clock.wait(5)
    complaining.close_complaint(
        by=scene.users[REVIEWER],
        complaint=complaint,
        text="Replaced; they are content.",
    )


def the_audit(scene: Scene) -> None:
    """Hold the audit of the year, by a number that draws the same every time."""
    scene.clock.set(4, "18:40")
    draw = self_inspections.draw_audit(by=scene.users[OWNER], seed=SEED)
    scene.clock.wait(95)
    self_inspections.record_inspection(
        by=scene.users[OWNER],
        number=draw.number,
        findings="Walked both ways in an hour and a half, the papers on the table."
        " To do: Maren asks the suppliers for the papers that lack, by the end of the"
        " month; Tobin lays caps on their side, see the complaint. “verify” was run"
        " before we began, and the backup of last week was restored on the old laptop.",
    )


def _step(scene: Scene, complaint: Complaint, kind: Step, text: str) -> None:
    complaining.add_step(
        by=scene.users[HELPER], complaint=complaint, kind=kind, text=text
    )
    scene.clock.wait(4)
