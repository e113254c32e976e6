"""Before the first charge: the hold points, gone through at the bench."""

from __future__ import annotations

from decimal import Decimal

from django.utils import timezone

from batches.models import Batch
from batches.services import containers, hold_points, planning
from producer.models import Material, RawLot, Stock, StockMovement
from producer.services.checks import local_day
from quality.demo.registers import BEAKER, POT
from quality.demo.scene import Scene
from quality.services import hold_pointing
from quality.services.hold_pointing import Counted, Held, Seen

GRAM = 1000  # milligrams
SMALL_SCALE = 2_000 * GRAM


def go_through(scene: Scene, batch: Batch) -> None:
    """Go through the hold points of a batch in which nothing is yet."""
    if not hold_points.open_points(batch):
        return
    weigh_opened_potash(scene, batch)
    bench = scene.instruments["bench scale"]
    if not (small := _of_today(scene, "small scale")):
        hold_pointing.go_through(
            by=batch.maker,
            batch=batch,
            scale=_held(scene, "small scale", "small weight"),
        )
    hold_pointing.go_through(
        by=batch.maker,
        batch=batch,
        counted=[small] if small else [],
        cleared=Seen(in_order=True),
        protected=Seen(in_order=True),
        scale=_of_today(scene, "bench scale")
        or _held(scene, "bench scale", "check weight"),
        lots=True,
        pot=hold_points.EmptyVessel(
            vessel=scene.vessels["pot"], scale=bench, mass_mg=POT
        ),
    )
    scene.clock.wait(2)


def weigh_opened_potash(scene: Scene, batch: Batch) -> None:
    """Put a tin of potash on the scale if something was taken from it before."""
    for line in planning.plan_of(batch).lines:
        source = line.source
        if line.kind != Material.Kind.POTASH or source is None:
            continue
        draws = source.movements.filter(kind=StockMovement.Kind.DRAW)
        if draws.exists():
            _weigh(scene, batch, Stock.objects.get(pk=source.pk))


def _weigh(scene: Scene, batch: Batch, stock: Stock) -> None:
    gross = stock.on_hand_mg + BEAKER
    fits = gross <= SMALL_SCALE
    containers.weigh_container(
        by=batch.maker,
        lot=RawLot.objects.get(pk=stock.pk),
        scale=scene.instruments["small scale" if fits else "bench scale"],
        gross_mg=gross,
        tare_mg=BEAKER,
    )


def _of_today(scene: Scene, name: str) -> Counted | None:
    """Return a check of a scale that passed today already."""
    for check in hold_pointing.good_today(local_day(timezone.now())):
        if check.instrument == scene.instruments[name]:
            return Counted(check=check)
    return None


def _held(scene: Scene, name: str, on_it: str) -> Held:
    """Put a check weight on a scale, which shows what it should."""
    weight = scene.instruments[on_it]
    return Held(
        scale=scene.instruments[name],
        weight=weight,
        shown=weight.nominal or Decimal(0),
    )
