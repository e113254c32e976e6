"""Tags that draw the parts of a page: a status by word and shape, groups of fields."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator

from django import template
from django.forms import BaseForm, BoundField
from django.utils.html import format_html
from django.utils.safestring import SafeString

register = template.Library()

# One outline per meaning, drawn in a 16 × 16 box, so that a print in black and a
# screen that is hard to read say the same as the colour does.
SHAPES = {
    "tick": "M2 8.5 6.5 13 14 3.5",
    "cross": "M3 3l10 10M13 3 3 13",
    "bars": "M5 2.5v11M11 2.5v11",
    "ring": "M8 2.5a5.5 5.5 0 1 0 .01 0Z",
    "dot": "M8 2.5a5.5 5.5 0 1 0 .01 0ZM8 7a1 1 0 1 0 .01 0Z",
    "diamond": "M8 1.5 14.5 8 8 14.5 1.5 8Z",
    "square": "M2.5 2.5h11v11h-11Z",
    "triangle": "M8 2 14.5 13.5H1.5ZM8 6.5v3M8 11.5v.5",
    "clock": "M8 2a6 6 0 1 0 .01 0ZM8 4.5V8l2.5 2",
    "out": "M2 8h11M8.5 3.5 13 8l-4.5 4.5",
    "back": "M14 8H3M7.5 3.5 3 8l4.5 4.5",
    "loop": "M13 8a5 5 0 1 1-2-4M11 1v3.5H7.5",
    "none": "M8 2a6 6 0 1 0 .01 0ZM4 12 12 4",
    "half": "M8 2a6 6 0 1 0 .01 0ZM8 2v12",
    "dash": "M2.5 8h11",
}


@dataclasses.dataclass(frozen=True)
class Look:
    """How a status is drawn: its shape, its tone and, if not the slug, its word.

    Tones: ``good`` may go on, ``doubt`` waits for somebody, ``bad`` must not go on,
    ``plain`` is neither.
    """

    shape: str
    tone: str
    word: str = ""


LOOKS = {
    # raw lots, and what is derived from their dates and the ledger
    "quarantine": Look("bars", "doubt", "held"),
    "released": Look("tick", "good"),
    "rejected": Look("cross", "bad"),
    "on_hold": Look("bars", "doubt"),
    "expired": Look("clock", "bad"),
    "retest_due": Look("clock", "doubt"),
    "used_up": Look("none", "plain"),
    # batches
    "planned": Look("ring", "plain"),
    "in_process": Look("dot", "plain"),
    "awaiting_review": Look("diamond", "doubt"),
    "abandoned": Look("cross", "plain"),
    "reworked": Look("loop", "plain"),
    "disposed": Look("cross", "plain"),
    "self_reviewed": Look("half", "doubt", "self-reviewed"),
    # bottles
    "filled": Look("tick", "good"),
    "retained": Look("ring", "plain"),
    "dispatched": Look("out", "plain"),
    "returned": Look("back", "doubt"),
    "recovered": Look("back", "doubt"),
    "destroyed": Look("cross", "plain"),
    # samples that are kept, beside the day of the filling
    "as_filled": Look("tick", "good"),
    "changed": Look("triangle", "bad"),
    "gone": Look("none", "plain", "not there any more"),
    # texts of labels
    "written": Look("ring", "plain"),
    "approved": Look("tick", "good"),
    "former": Look("tick", "plain"),
    "withdrawn": Look("cross", "bad"),
    "class_changed": Look("triangle", "doubt"),
    # what happened to the basis of a signature
    "void": Look("cross", "bad"),
    "basis_revised": Look("triangle", "doubt", "basis later revised"),
    # entries of a batch, and what they were read from
    "off_the_clock": Look("clock", "doubt", "entered late"),
    "from_paper": Look("clock", "doubt", "from paper"),
    "not_in_order": Look("triangle", "doubt", "not in order"),
    "discrepancy": Look("triangle", "bad", "discrepancy"),
    "in_doubt": Look("triangle", "doubt", "in doubt"),
    # judgements, ILAC-G8
    "pass": Look("tick", "good"),
    "conditional_pass": Look("half", "doubt"),
    "conditional_fail": Look("triangle", "bad"),
    "fail": Look("cross", "bad"),
    # points of a chart, with the shapes they have on it
    "beyond": Look("diamond", "bad", "beyond a limit"),
    "pattern": Look("square", "doubt", "part of a pattern"),
    # recalls
    "open": Look("triangle", "bad"),
    "notified": Look("out", "doubt", "holders notified"),
    "closed": Look("tick", "plain"),
    "recalled": Look("triangle", "bad"),
    "mock": Look("ring", "plain"),
}
# A state without an entry shows its word all the same, with a dash.
UNNAMED = Look("dash", "plain")


def _draw(shape: str) -> SafeString:
    """Return the shape as an image that is left out when the page is read aloud."""
    return format_html(
        '<svg class="shape" aria-hidden="true" focusable="false" viewBox="0 0 16 16">'
        '<path d="{}" fill="none" stroke="currentColor" stroke-width="2.2"/></svg>',
        SHAPES[shape],
    )


_DRAWN = {shape: _draw(shape) for shape in SHAPES}


@register.simple_tag(name="status")
def status_html(slug: str, label: object = "") -> SafeString:
    """Return a status as a word with its shape: ``{% status lot.status %}``.

    ``label`` is the word to show; without it the word of the slug is taken.
    """
    look = LOOKS.get(slug, UNNAMED)
    word = label or look.word or slug.replace("_", " ")
    return format_html(
        '<span class="status is-{}">{}{}</span>', look.tone, _DRAWN[look.shape], word
    )


@register.filter
def field_groups(form: BaseForm) -> list[tuple[str, list[BoundField]]]:
    """Return the visible fields in groups, each with its heading.

    A form may say ``groups = (("The delivery", ("material", "supplier")), …)``; what
    it does not name follows without a heading. A name the form does not have raises
    :class:`KeyError`.
    """
    named: tuple[tuple[str, tuple[str, ...]], ...] = getattr(form, "groups", ())
    groups = [(heading, [form[name] for name in names]) for heading, names in named]
    taken = {name for _, names in named for name in names}
    rest = [field for field in form.visible_fields() if field.name not in taken]
    return [*groups, ("", rest)] if rest else groups


@register.filter
def complaints(form: BaseForm) -> list[tuple[str, str, str]]:
    """Return what is wrong as (address, label, sentence), the whole form first.

    The address is the id of the input to go to, empty for the form as a whole.
    """
    return list(_complaints(form))


def _complaints(form: BaseForm) -> Iterator[tuple[str, str, str]]:
    for message in form.non_field_errors():
        yield "", "", str(message)
    for field in form:
        for message in field.errors:
            if field.is_hidden:
                yield "", "", str(message)
            else:
                yield _first_input(field), str(field.label), str(message)


def _first_input(field: BoundField) -> str:
    """Return the id of the input a person would type into or choose first."""
    return field.id_for_label or f"{field.auto_id}_0"


@register.filter
def here(path: str, address: str) -> str:
    """Say whether ``path`` is the page at ``address`` or lies below it.

    The answer is the value of ``aria-current``: “page”, “true” or nothing.

    >>> here("/lots/", "/lots/"), here("/lots/OIL-7/", "/lots/"), here("/", "/lots/")
    ('page', 'true', '')
    """
    if path == address:
        return "page"
    return "true" if address != "/" and path.startswith(address) else ""


@register.filter
def unit_of(field: BoundField) -> str:
    """Return the unit that the form field carries, or nothing."""
    return getattr(field.field, "unit", "")


@register.filter
def readings(field: BoundField) -> list[str]:
    """Return both readings of an ambiguous number, as texts that read one way only."""
    return [
        str(reading)
        for error in field.errors.as_data()
        if error.code == "ambiguous"
        for reading in (error.params or {}).get("readings", ())
    ]
