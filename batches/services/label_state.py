"""What state the texts of labels are in, and what stands against approving one."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence

from batches import claims, label_fonts
from batches.models import Classification, Formula, LabelDecision, LabelVersion
from producer.models import Premises
from producer.services import rules

WHY_NO_PEST = (
    "A claim against pests, germs or plants can make a detergent a plant protection or"
    " biocidal product before the law. Say what it washes, not what it is against; “For"
    " washing only.” says enough."
)

FIELDS = {
    "the name on the label": "product_name",
    "the directions": "directions",
    "the further cautions": "cautions",
}
OF_THE_PREMISES = "the name, address or numbers of the premises"


@dataclasses.dataclass(frozen=True, kw_only=True)
class TextState:
    """A version of a text, and where it stands.

    ``slug`` is ``written``, ``approved``, ``former`` (approved, and a newer one is
    printed), ``withdrawn`` or ``class_changed``.
    """

    label: LabelVersion
    slug: str
    decisions: tuple[LabelDecision, ...]
    self_reviewed: bool

    @property
    def word(self) -> str:
        """Return the state as a word to read."""
        return _WORDS[self.slug]


_WORDS = {
    "written": "not approved yet",
    "approved": "approved, printed",
    "former": "approved before",
    "withdrawn": "withdrawn",
    "class_changed": "hazard class changed since",
}


def versions(formula: Formula) -> list[LabelVersion]:
    """Return all texts of a product with their decisions, newest first."""
    return list(
        LabelVersion.objects.filter(formula=formula)
        .select_related("classification", "entered_by__person", "formula")
        .prefetch_related("decisions__entered_by__person")
        .order_by("language", "-version")
    )


def newest(formula: Formula, language: str) -> LabelVersion | None:
    """Return the newest version of the text in a language, whatever became of it."""
    rows = LabelVersion.objects.filter(formula=formula, language=language)
    return rows.order_by("-version").first()


def classes_now(formula: Formula) -> list[Classification]:
    """Return what was recorded last about the hazard class of a product.

    A row for each wording, all of one act and so of one time: statements are in a
    language. Empty if nobody recorded a class.
    """
    rows = Classification.objects.filter(formula=formula)
    newest = rows.order_by("-pk").first()
    if newest is None:
        return []
    return list(
        rows.filter(observed_at=newest.observed_at)
        .select_related("entered_by__person")
        .order_by("pk")
    )


def is_approved(label: LabelVersion) -> bool:
    """Say whether the last decision about a text was to approve it."""
    decisions = list(label.decisions.all())
    return bool(decisions) and decisions[-1].kind == LabelDecision.Kind.APPROVED


def may_print(label: LabelVersion, now: Sequence[Classification]) -> bool:
    """Say whether a text is approved, and agrees with the class recorded last."""
    return is_approved(label) and not class_changed(label, now)


def why_not_print(label: LabelVersion) -> str:
    """Return why nothing may be printed with this very text, or nothing."""
    if not is_approved(label):
        return "This text is not approved. A reviewer approves it first."
    if class_changed(label, classes_now(label.formula)):
        return (
            "The hazard class recorded since then is another one. Write the next"
            " version of this text with it, and have it approved."
        )
    return ""


def class_changed(label: LabelVersion, now: Sequence[Classification]) -> bool:
    """Say whether a text prints another hazard block than what was recorded last.

    What is printed is compared: signal word, statements, identifier. A product without
    a recorded class, and one classified as not hazardous, print nothing.
    """
    recorded = {_block(row) for row in now} or {None}
    return _block(label.classification) not in recorded


def against_approval(label: LabelVersion) -> list[str]:
    """Return what stands against approving a text, a sentence each; empty if nothing.

    Who asks is not looked at: that is for :func:`label_texts.approve`.
    """
    last = newest(label.formula, label.language)
    found = []
    if last is not None and last.pk != label.pk:
        found.append(f"Version {last.version} is newer: approve that one.")
    if is_approved(label):
        found.append("This text is approved already.")
    found += against_words(label)
    unprintable = label_fonts.why_not({**own_words(label), **_words_around(label)})
    if unprintable:
        found.append(unprintable)
    now = classes_now(label.formula)
    if class_changed(label, now):
        found.append(
            "The hazard class recorded last is not the one in this text. Write the next"
            " version with it."
        )
    return found


def own_words(label: LabelVersion) -> dict[str, str]:
    """Return what its writer wrote, by what it is: the keys of :data:`FIELDS`."""
    return {part: getattr(label, field) for part, field in FIELDS.items()}


def _words_around(label: LabelVersion) -> dict[str, str]:
    """Return what is printed beside that: class, authority's number, the premises."""
    of, premises = label.classification, Premises.objects.get()
    newest_first = label.formula.versions.order_by("-version")
    numbers = newest_first.values_list("authority_reference", flat=True)
    return {
        "the words of the class": f"{of.statements}{of.identifier}" if of else "",
        "the authority's number": numbers[0],
        OF_THE_PREMISES: "\n".join(
            (
                premises.name,
                premises.address,
                premises.phone,
                premises.email,
                premises.poison_centre,
            )
        ),
    }


def against_words(label: LabelVersion) -> list[str]:
    """Return what must not stand in the words of a text, a sentence for each kind."""
    words = "\n".join((label.product_name, label.directions, label.cautions))
    if label.formula.purpose == Formula.Purpose.SPRAY:
        pests = []
    else:
        pests = claims.pest_words(words)
    promises, hazards = claims.unsupported_claims(words), claims.hazard_words(words)
    found = []
    if pests:
        found.append(
            f"This is a label for {label.formula.get_purpose_display()}, and it says"
            f" {_quoted(pests)}. {WHY_NO_PEST} {rules.hint('detergent')}"
        )
    if promises:
        found.append(
            f"It promises {_quoted(promises)}. Nobody here can answer for that; take it"
            " out."
        )
    if hazards:
        found.append(
            f"{_quoted(hazards)} in the text: record the hazard class with its basis,"
            " and its words are printed from there. Take them out of the text."
        )
    return found


def states(formula: Formula) -> list[TextState]:
    """Return each version of each text with its state, by language, newest first."""
    now = classes_now(formula)
    found = []
    printed: set[str] = set()
    for label in versions(formula):
        slug = _slug(label, now, is_former=label.language in printed)
        if slug == "approved":
            printed.add(label.language)
        found.append(_state(label, slug))
    return found


def state_of(label: LabelVersion) -> TextState:
    """Return the state of one version."""
    return next(one for one in states(label.formula) if one.label.pk == label.pk)


def printed_without(label: LabelVersion) -> LabelVersion | None:
    """Return the version that would be printed if this one were withdrawn."""
    now = classes_now(label.formula)
    for one in versions(label.formula):  # newest first
        same_language = one.language == label.language and one.pk != label.pk
        if same_language and may_print(one, now):
            return one
    return None


def _state(label: LabelVersion, slug: str) -> TextState:
    decisions = tuple(label.decisions.all())
    return TextState(
        label=label,
        slug=slug,
        decisions=decisions,
        self_reviewed=is_approved(label)
        and decisions[-1].entered_by.person_id == label.entered_by.person_id,
    )


def _slug(
    label: LabelVersion, now: Sequence[Classification], *, is_former: bool
) -> str:
    decisions = list(label.decisions.all())
    if not decisions:
        return "written"
    if decisions[-1].kind == LabelDecision.Kind.WITHDRAWN:
        return "withdrawn"
    if class_changed(label, now):
        return "class_changed"
    return "former" if is_former else "approved"


def _block(row: Classification | None) -> tuple[str, str, str] | None:
    """Return what a label prints of a class; None for nothing."""
    if row is None or (row.signal == Classification.Signal.NONE and not row.identifier):
        return None
    return row.signal, row.statements, row.identifier


def _quoted(words: list[str]) -> str:
    """Return words in quotation marks, each once."""
    seen = dict.fromkeys(" ".join(word.split()) for word in words)
    return ", ".join(f"“{word}”" for word in seen)
