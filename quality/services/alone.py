"""Who may review their own work, and when: see :mod:`producer.services.alone`."""

from __future__ import annotations

from producer.services.alone import may_review_alone, nobody_else, why_not_alone

__all__ = ["may_review_alone", "nobody_else", "why_not_alone"]
