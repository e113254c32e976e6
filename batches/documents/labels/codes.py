"""What the QR code of a bottle contains, and its squares.

Single codes are made by qrcode, which stays the dependency of record. A sheet full of
labels takes its squares from zxing-cpp, which is ten times as fast; the tests compare
the two square by square.
"""

from __future__ import annotations

from urllib.parse import urlsplit

import numpy as np
import qrcode
import qrcode.constants
import zxingcpp
from django.conf import settings
from django.utils.safestring import SafeString, mark_safe
from numpy.typing import NDArray

from batches.models import Bottle
from producer.codes import grouped

QUIET_ZONE = 4  # modules, ISO/IEC 18004
Squares = NDArray[np.bool_]


def bottle_address(code: str) -> str:
    """Return the address that a bottle's QR code contains."""
    return f"{settings.PUBLIC_URL}/b/{grouped(code)}"


def address_is_local() -> bool:
    """Say whether only this computer could open the addresses printed now."""
    host = urlsplit(settings.PUBLIC_URL).hostname or ""
    return host in {"127.0.0.1", "::1", "localhost"}


def qr_svg(bottle: Bottle) -> SafeString:
    """Return a bottle's QR code as SVG."""
    return qr_of(bottle_address(bottle.code))


def qr_of(text: str) -> SafeString:
    """Return a text as QR code in SVG, dark modules drawn as runs along each row."""
    code = qrcode.QRCode(
        error_correction=qrcode.constants.ERROR_CORRECT_M, border=QUIET_ZONE
    )
    code.add_data(text)
    matrix = code.get_matrix()
    return mark_safe(  # noqa: S308 - made of whole numbers
        '<svg class="qr" xmlns="http://www.w3.org/2000/svg"'
        f' viewBox="0 0 {len(matrix)} {len(matrix)}" shape-rendering="crispEdges">'
        f'<path d="{svg_path(np.array(matrix))}"/></svg>'
    )


def svg_path(squares: Squares) -> str:
    """Return dark modules as an SVG path, one module a unit."""
    left, top, length = runs(squares).T.tolist()
    return "".join(
        f"M{x} {y}h{n}v1h-{n}z" for x, y, n in zip(left, top, length, strict=True)
    )


def squares_of(text: str) -> Squares:
    """Return the modules of a text's QR code, error correction M, dark ones true.

    There is no quiet zone around them.
    """
    made = zxingcpp.create_barcode(text, zxingcpp.BarcodeFormat.QRCode, ec_level="M")
    picture = np.asarray(made.to_image(scale=1, add_quiet_zones=False))
    dark: Squares = np.equal(picture, 0)
    return dark


def runs(squares: Squares) -> NDArray[np.int64]:
    """Return left end, row and length of each run of dark modules along the rows."""
    height, width = squares.shape
    # A light module at both ends of each row keeps its runs from the next row's.
    framed = np.zeros((height, width + 2), dtype=np.bool_)
    framed[:, 1:-1] = squares
    line = framed.ravel()
    changes = np.flatnonzero(line[1:] != line[:-1])
    begins, ends = changes[::2], changes[1::2]
    rows, left = np.divmod(begins, width + 2)
    return np.stack((left, rows, ends - begins), axis=1)
