"""Papers that take no time, for tests that look at none."""

from __future__ import annotations

import pytest
from weasyprint import HTML

from producer import prints


def draw_blank(monkeypatch: pytest.MonkeyPatch) -> None:
    """Draw an empty page for every paper; its words are put together all the same."""
    blank = HTML(string="<title>Blank</title>")
    monkeypatch.setattr(prints, "HTML", lambda *_args, **_options: blank)
