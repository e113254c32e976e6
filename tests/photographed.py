"""Printed labels as a telephone may see them: a simulation, its ranges written out.

A label is rasterised at 450 dpi and treated with, each drawn anew by a fixed seed:

* ``scale``: the picture's resolution of the label, dots per inch; a film of 1080 lines
  that shows some 10 cm has about 270;
* ``turn``: rotation in the plane, degrees, any of ± the value;
* ``tilt``: perspective, by how much of the picture's side a corner is drawn in;
* ``blur``: radius of a Gaussian, in dots of the picture, which stands for a hand that
  shakes and a lens out of focus;
* ``light``: what of the full brightness is left, uneven from one side to the other;
* ``noise``: standard deviation of the sensor's noise, in steps of 255.

The ranges are our own guess of what hands and kitchens do (no source). What is not
simulated: curved bottles, gloss, wet or torn labels, a printer short of toner.
"""

from __future__ import annotations

import dataclasses
import io
from collections.abc import Iterator

import numpy as np
import pypdfium2
import zxingcpp
from numpy.typing import NDArray
from PIL import Image, ImageFilter

from batches.documents.labels import pages_of
from batches.label_text import LabelText, Serial
from batches.sheets import USUAL, Placement
from tests import label_samples as samples

SEED = 20260904
PRINT_DPI = 450
Picture = NDArray[np.float64]


@dataclasses.dataclass(frozen=True)
class Conditions:
    """What pictures are like; a pair is a range, each picture gets its own value."""

    name: str
    scale: tuple[float, float]
    turn: float
    tilt: float
    blur: tuple[float, float]
    light: tuple[float, float]
    noise: tuple[float, float]
    floor: float  # the share of codes that is to be read


STEADY = Conditions(
    "held steady in daylight",
    scale=(300, 450),
    turn=10,
    tilt=0.04,
    blur=(0.3, 0.9),
    light=(0.7, 1.0),
    noise=(1, 4),
    floor=0.99,
)
HASTY = Conditions(
    "in haste, askew and turned any way",
    scale=(250, 400),
    turn=180,
    tilt=0.12,
    blur=(0.6, 1.5),
    light=(0.45, 0.9),
    noise=(3, 8),
    floor=0.85,
)
DIM = Conditions(
    "in a dim store",
    scale=(250, 400),
    turn=30,
    tilt=0.08,
    blur=(0.5, 1.2),
    light=(0.25, 0.5),
    noise=(3, 6),
    floor=0.9,
)
DARK = Conditions(
    "nearly in the dark, and blurred",
    scale=(250, 400),
    turn=30,
    tilt=0.08,
    blur=(0.6, 1.4),
    light=(0.12, 0.3),
    noise=(4, 9),
    floor=0.3,
)
ALL = (STEADY, HASTY, DIM, DARK)


def shares(count: int = 100) -> Iterator[tuple[str, float, float]]:
    """Yield of each kind of picture its name, the share read right, and the floor.

    The labels are the smallest of the usual ones: the others have larger codes.
    """
    labels = printed(samples.ENGLISH, samples.serials(count))
    for conditions in ALL:
        yield conditions.name, share_read(labels, conditions), conditions.floor


def share_read(labels: list[tuple[Serial, Image.Image]], like: Conditions) -> float:
    """Return which share of labels is read as its own address, one picture of each."""
    draw = np.random.default_rng(SEED)
    right = sum(
        samples.address_of(serial)
        in [code.text for code in zxingcpp.read_barcodes(photograph(label, like, draw))]
        for serial, label in labels
    )
    return right / len(labels)


def printed(text: LabelText, serials: list[Serial]) -> list[tuple[Serial, Image.Image]]:
    """Return the labels cut out of the sheets of the smallest usual format."""
    placement = Placement(USUAL[0])
    pdf = b"".join(pages_of(text, placement, serials))
    pages = [
        page.render(scale=PRINT_DPI / 72).to_pil().convert("L")
        for page in pypdfium2.PdfDocument(io.BytesIO(pdf))
    ]
    dots = PRINT_DPI / 2540  # to a hundredth of a millimetre
    wide, high = placement.sheet.width, placement.sheet.height
    cut = []
    places = placement.places(len(serials))
    for serial, (page, x, y) in zip(serials, places, strict=True):
        box = [round(edge * dots) for edge in (x, y, x + wide, y + high)]
        cut.append((serial, pages[page].crop((box[0], box[1], box[2], box[3]))))
    return cut


def photograph(
    label: Image.Image, like: Conditions, draw: np.random.Generator
) -> Image.Image:
    """Return a picture of a label under these conditions."""
    scale = draw.uniform(*like.scale) / PRINT_DPI
    size = (round(label.width * scale), round(label.height * scale))
    picture = label.resize(size, Image.Resampling.LANCZOS)
    edge = round(0.15 * size[0])  # what lies around the label
    ground = Image.new("L", (size[0] + 2 * edge, size[1] + 2 * edge), 110)
    ground.paste(picture, (edge, edge))
    turned = ground.rotate(
        draw.uniform(-like.turn, like.turn),
        Image.Resampling.BICUBIC,
        expand=True,
        fillcolor=110,
    )
    tilted = _tilted(turned, like.tilt, draw)
    blurred = tilted.filter(ImageFilter.GaussianBlur(draw.uniform(*like.blur)))
    return _dimmed(blurred, like, draw)


def _tilted(
    picture: Image.Image, most: float, draw: np.random.Generator
) -> Image.Image:
    """Return a picture seen from the side: each corner drawn in by a part of a side."""
    wide, high = picture.size
    corners = np.array([(0, 0), (wide, 0), (wide, high), (0, high)], dtype=float)
    inwards = np.array([(1, 1), (-1, 1), (-1, -1), (1, -1)])
    seen = corners + inwards * draw.uniform(0, most, (4, 2)) * (wide, high)
    rows, values = [], []
    for (x, y), (u, v) in zip(seen, corners, strict=True):
        rows += [
            (x, y, 1, 0, 0, 0, -u * x, -u * y),
            (0, 0, 0, x, y, 1, -v * x, -v * y),
        ]
        values += [u, v]
    way = np.linalg.solve(np.array(rows), np.array(values))
    return picture.transform(
        picture.size,
        Image.Transform.PERSPECTIVE,
        tuple(way.tolist()),
        Image.Resampling.BICUBIC,
        fillcolor=110,
    )


def _dimmed(
    picture: Image.Image, like: Conditions, draw: np.random.Generator
) -> Image.Image:
    """Return a picture in uneven light, with the noise of a sensor, in whole steps."""
    dots: Picture = np.asarray(picture, dtype=np.float64)
    light = draw.uniform(*like.light)
    uneven = np.linspace(light, light * draw.uniform(0.7, 1.0), dots.shape[1])
    noisy = dots * uneven + draw.normal(0, draw.uniform(*like.noise), dots.shape)
    return Image.fromarray(np.clip(np.rint(noisy), 0, 255).astype(np.uint8))
