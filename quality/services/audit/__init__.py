"""The yearly audit: a bottle and a lot at random, walked to the end, and what lacks.

Nothing is judged anew here: each link is what the pages of the bottle, the batch, the
lot and the recall say already, held beside what an auditor asks for (requirements,
section 1.5).
"""

from quality.services.audit.counted import (
    Draws,
    draws_for,
    draws_until_now,
    why_not_drawn,
)
from quality.services.audit.drawing import Drawn, draw_anew, drawn_by, why_not_held
from quality.services.audit.held import held_of, inspections, last_held, years
from quality.services.audit.lists import Listed, listed
from quality.services.audit.plain import Link
from quality.services.audit.walking import Audit, audit_of

__all__ = [
    "Audit",
    "Drawn",
    "Draws",
    "Link",
    "Listed",
    "audit_of",
    "draw_anew",
    "drawn_by",
    "draws_for",
    "draws_until_now",
    "held_of",
    "inspections",
    "last_held",
    "listed",
    "why_not_drawn",
    "why_not_held",
    "years",
]
