"""The texts of a product's labels: written, approved, withdrawn; its hazard class."""

from __future__ import annotations

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse

from batches.forms.label_texts import (
    ClassifyForm,
    LabelTextForm,
    initial_class,
    initial_of,
)
from batches.label_words import LANGUAGES, signal_in, words_in
from batches.models import Formula, LabelVersion
from batches.services import label_state, label_texts
from batches.services.formulas import newest_version
from producer.forms.base import PlainForm, ReasonForm
from producer.models import Right
from producer.views import acts
from producer.views.acts import needs, read_only, user_of


def texts_page(formula: Formula) -> str:
    """Return the address of the texts of a product."""
    return reverse("batches:label_texts", args=[formula.pk])


def text_page(label: LabelVersion) -> str:
    """Return the address of one version of a text."""
    where = [label.formula_id, label.language, label.version]
    return reverse("batches:label_text", args=where)


@read_only
def texts(request: HttpRequest, pk: int) -> HttpResponse:
    """List the texts of a product by language, with their states and its class."""
    found = get_object_or_404(Formula, pk=pk)
    states = label_state.states(found)
    context = {
        "formula": found,
        "topic": _topic(found),
        "classes": label_state.classes_now(found),
        "languages": [
            (code, name, [one for one in states if one.label.language == code])
            for code, name in LANGUAGES.items()
        ],
    }
    return render(request, "batches/label_texts.html", context)


@read_only
def text(request: HttpRequest, pk: int, language: str, version: int) -> HttpResponse:
    """Show a version of a text: how it reads, where it stands, what was decided."""
    label = _label(pk, language, version)
    of = label.classification
    context = {
        "state": label_state.state_of(label),
        "label": label,
        "language": LANGUAGES[language],
        "topic": _topic(label.formula),
        "against": label_state.against_approval(label),
        "words": words_in(language),
        "signal": signal_in(of.signal, language) if of else "",
        "number": newest_version(label.formula).authority_reference,
    }
    return render(request, "batches/label_text.html", context)


@needs(Right.MAKER)
def text_write(request: HttpRequest, pk: int, language: str) -> HttpResponse:
    """Write the next version of a text in one language."""
    formula = get_object_or_404(Formula, pk=pk)
    name = _language(language)
    former = label_state.newest(formula, language)
    classes = label_state.classes_now(formula)
    form = LabelTextForm(
        request.POST or None,
        initial=initial_of(formula, language, former, classes),
        formula=formula,
        language=language,
        former=former,
        classes=classes,
    )
    return acts.handle(
        request,
        form,
        do=lambda facts, submission: label_texts.write_label(
            by=user_of(request),
            formula=formula,
            language=language,
            submission=submission,
            **facts,
        ),
        then=text_page,
        said="The text is written. A reviewer now approves it.",
        home=texts_page(formula),
        title=f"{formula}: label text, {name}",
        submit="Write it",
        template="batches/label_text_write.html",
        context={"topic": _topic(formula), "former": former},
    )


@needs(Right.REVIEWER)
def text_approve(
    request: HttpRequest, pk: int, language: str, version: int
) -> HttpResponse:
    """Approve a text for printing."""
    label = _label(pk, language, version)
    return acts.handle(
        request,
        PlainForm(request.POST or None),
        do=lambda facts, submission: label_texts.approve(
            by=user_of(request), label=label, submission=submission, **facts
        ),
        then=lambda _: text_page(label),
        said="The text is approved: labels are printed with it from now on.",
        home=text_page(label),
        title=f"Approve {label.product_name}, {LANGUAGES[language]}, {label.version}",
        submit="Approve it",
        template="batches/label_text_decide.html",
        context={
            "label": label,
            "topic": _topic(label.formula),
            "against": label_state.against_approval(label),
            "own": label.entered_by.person_id == user_of(request).person_id,
        },
    )


@needs(Right.REVIEWER)
def text_withdraw(
    request: HttpRequest, pk: int, language: str, version: int
) -> HttpResponse:
    """Withdraw an approved text from printing."""
    label = _label(pk, language, version)
    return acts.handle(
        request,
        ReasonForm(request.POST or None),
        do=lambda facts, submission: label_texts.withdraw(
            by=user_of(request), label=label, submission=submission, **facts
        ),
        then=lambda _: text_page(label),
        said="The text is withdrawn.",
        home=text_page(label),
        title=f"Withdraw {label.product_name}, {LANGUAGES[language]}, {label.version}",
        submit="Withdraw it",
        template="batches/label_text_decide.html",
        context={
            "label": label,
            "topic": _topic(label.formula),
            "next_best": label_state.printed_without(label),
            "is_withdrawal": True,
        },
    )


@needs(Right.MAKER)
def classify(request: HttpRequest, pk: int) -> HttpResponse:
    """Record the hazard class of a product, with its basis."""
    formula = get_object_or_404(Formula, pk=pk)
    classes = label_state.classes_now(formula)
    return acts.handle(
        request,
        ClassifyForm(request.POST or None, initial=initial_class(classes)),
        do=lambda facts, submission: label_texts.classify(
            by=user_of(request), formula=formula, submission=submission, **facts
        ),
        then=lambda _: texts_page(formula),
        said=(
            "The class is recorded. Texts that print another one are not printed any"
            " more: write their next version."
        ),
        home=texts_page(formula),
        title=f"{formula}: record the hazard class",
        template="batches/classify.html",
        context={"classes": classes},
    )


def _language(code: str) -> str:
    """Return the name of a language that labels have words in; 404 otherwise."""
    if code not in LANGUAGES:
        raise Http404("There are no labels in this language.")
    return LANGUAGES[code]


def _label(pk: int, language: str, version: int) -> LabelVersion:
    _language(language)
    return get_object_or_404(
        LabelVersion.objects.select_related(
            "formula", "classification", "entered_by__person"
        ),
        formula=pk,
        language=language,
        version=version,
    )


def _topic(formula: Formula) -> str:
    """Return which rules a label of this product is under, a topic of RulesCheck."""
    return "spray" if formula.purpose == Formula.Purpose.SPRAY else "detergent"
