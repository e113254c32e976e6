"""A sentence about something out of the ordinary."""

from __future__ import annotations

import dataclasses


@dataclasses.dataclass(frozen=True, kw_only=True)
class Unusual:
    """A sentence about something unusual, with the place on the page that shows it.

    ``status`` is the slug of its word and shape, ``word`` what is written beside it.
    """

    status: str
    word: str
    sentence: str
    place: str = ""
