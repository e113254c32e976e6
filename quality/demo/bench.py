"""At the bench: titrations, checks of instruments, containers, losses, fillings."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from batches.models import Loss, Titration
from batches.services import containers, cooking, losses
from batches.services.titrating import Replicate, Setup, record_titration
from producer.models import Stock
from quality.demo.making import GRAM
from quality.demo.people import HELPER, OWNER
from quality.demo.registers import BEAKER
from quality.demo.scene import Scene
from quality.services.checking import Known, TwoBuffers, record_check
from quality.services.filling_checks import record_fill_check
from quality.statistics.buffers import BufferSet

BOTTLE = 31_200  # milligrams: an empty quarter-litre bottle with its cap


def check_scale(scene: Scene, shown: str) -> None:
    """Hold the bench scale against the check weight."""
    weight = scene.instruments["check weight"]
    record_check(
        by=scene.users[OWNER],
        instrument=scene.instruments["bench scale"],
        held=Known(
            against="",
            reference=weight.nominal or Decimal(0),
            shown=Decimal(shown),
            weight=weight,
        ),
        tolerance=Decimal(3),
        half_width=weight.bias_half_width,
    )
    scene.clock.wait(4)


def check_meter(scene: Scene, shown: tuple[str, str]) -> None:
    """Hold the pH meter against two buffers on either side of where soap lies."""
    record_check(
        by=scene.users[OWNER],
        instrument=scene.instruments["meter"],
        held=TwoBuffers(
            which=BufferSet.TECHNICAL,
            names=("7.00", "10.01"),
            shown=(Decimal(shown[0]), Decimal(shown[1])),
            temperature=Decimal(20),
            lots=(scene.instruments["buffer 7"], scene.instruments["buffer 10"]),
        ),
        tolerance=Decimal("0.1"),
        half_width=Decimal("0.02"),
    )
    scene.clock.wait(6)


def titrate_oil(
    scene: Scene, name: str, samples: Sequence[tuple[int, str]], blank: str
) -> None:
    """Determine the saponification value of a lot that came without one."""
    _titrate(
        scene,
        scene.lot(name).stock,
        Titration.Kind.SAPONIFICATION_VALUE,
        samples,
        concentration="0.5021",
        blank=blank,
    )


def titrate_batch(
    scene: Scene, name: str, samples: Sequence[tuple[int, str]], concentration: str
) -> None:
    """Determine the free alkali of a paste, in warm neutral alcohol."""
    _titrate(
        scene,
        scene.batch(name).stock,
        Titration.Kind.FREE_ALKALI,
        samples,
        concentration=concentration,
    )


def weigh_container(scene: Scene, name: str, more_g: str) -> None:
    """Put a container on the scale; it weighs ``more_g`` more than the book says."""
    lot = scene.lot(name)
    net = lot.stock.on_hand_mg + int(Decimal(more_g) * GRAM)
    containers.weigh_container(
        by=scene.users[HELPER],
        lot=lot,
        scale=scene.instruments["small scale"],
        gross_mg=net + BEAKER,
        tare_mg=BEAKER,
    )
    scene.clock.wait(5)


def lose(scene: Scene, name: str, kind: Loss.Kind, grams: int, note: str) -> None:
    """Write down where mass went that did not come out."""
    batch = scene.batch(name)
    losses.record_loss(
        by=batch.maker,
        batch=batch,
        kind=kind,
        mass_mg=grams * GRAM,
        half_width_mg=2 * GRAM,
        note=note,
    )
    scene.clock.wait(2)


def correct(scene: Scene, name: str, lot: str, tenths_g: int, reason: str) -> None:
    """Weigh a correction in, on the scale that shows tenths."""
    batch = scene.batch(name)
    cooking.correct(
        by=batch.maker,
        batch=batch,
        source=scene.lot(lot).stock,
        scale=scene.instruments["small scale"],
        gross_mg=BEAKER + tenths_g * 100,
        tare_mg=BEAKER,
        reason=reason,
    )
    scene.clock.wait(30)


def check_filling(scene: Scene, name: str) -> None:
    """Weigh every bottle of a small lot against what its label says."""
    lot = scene.fillings[name]
    wanted = int(Decimal(lot.nominal_ul) * lot.density)
    record_fill_check(
        by=scene.users[HELPER],
        filling_lot=lot,
        scale=scene.instruments["bench scale"],
        tare_mg=BOTTLE,
        net_mg=[wanted + scene.dice.randint(-2, 6) * GRAM for _ in range(lot.count)],
    )
    scene.clock.wait(3)


def _titrate(
    scene: Scene,
    stock: Stock,
    kind: Titration.Kind,
    samples: Sequence[tuple[int, str]],
    *,
    concentration: str,
    blank: str | None = None,
) -> None:
    record_titration(
        by=scene.users[OWNER],
        stock=stock,
        kind=kind,
        replicates=[
            Replicate(sample_mg=sample_mg, volume_ml=Decimal(volume_ml))
            for sample_mg, volume_ml in samples
        ],
        setup=Setup(
            concentration=Decimal(concentration),
            half_width=Decimal("0.0005"),
            burette_half_width=Decimal("0.05"),
            scale=scene.instruments["fine scale"],
            indicator=scene.instruments["indicator"],
            blank_ml=None if blank is None else Decimal(blank),
        ),
    )
    scene.clock.wait(40)
