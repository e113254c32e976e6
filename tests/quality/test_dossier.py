"""The dossier: what it says of every kind of batch, and what kind of PDF it is."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Callable
from decimal import Decimal
from html import unescape

import pypdfium2
import pytest
from django.db import connection
from django.template.loader import render_to_string
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from batches.models import Batch
from batches.services import cooking
from producer.models import JournalHead, Premises, RawLot, User
from producer.services import intake
from quality.documents.dossier import context_of, dossier_pdf
from quality.models import Deviation, Signature
from quality.services import changing
from quality.services.reading_order.exceptions import Exceptions
from tests import lab, leaving, make
from tests.database import row_counts
from tests.quality import faulty

pytestmark = [pytest.mark.django_db, pytest.mark.any_engine]

MOST_QUERIES, WAYS = 90, 5  # of a dossier; of them up and down the genealogy


def pages_of(pdf: bytes) -> list[str]:
    document = pypdfium2.PdfDocument(pdf)
    return [
        " ".join(page.get_textpage().get_text_bounded().split()) for page in document
    ]


def words_of(batch: Batch) -> str:
    """Return all the words of a dossier, as one line."""
    pdf = dossier_pdf(make.fresh(batch), printed_by="Aune Koski")
    return " ".join(pages_of(pdf))


def html_of(batch: Batch) -> str:
    context = {**context_of(batch), "premises": Premises.objects.get()}
    return render_to_string("quality/dossier.html", context)


def signature_of(batch: Batch) -> Signature:
    return batch.signatures.order_by("pk")[0]


# ------------------------------------------------------------------ what it says


def test_a_released_cook_is_told_whole(crew: make.Crew) -> None:
    batch = make.released_paste(crew)
    signature, head = signature_of(batch), JournalHead.objects.get(pk=1)
    words = words_of(batch)
    for charge in batch.charges.select_related("source__lot__supplier"):
        lot = charge.source.lot
        assert charge.source.code in words
        assert f"{lot.supplier.name}, supplier’s lot {lot.supplier_lot}" in words
        assert charge.figure_origin in words
    for said in (
        batch.number,
        "Kitchen paste",
        "Certificate version 1, used here",
        "The oils need: Σ mass × saponification value",
        "Potassium hydroxide by weighing",
        "The inputs as they were signed",
        "pH 9.2",
        "This batch is point 1",
        "Back: what went into it",
        "It has not gone into any batch.",
        "Nothing was filled from it",
        "Signature 1. Rasmus Lind",
        ": reviewed and released",
        signature.record_sha256,
        head.hash,
        f"the journal ends at row {head.sequence}",
        "yield weighed",
        "never amended",
        "of Europe/London, each with its offset from UTC",
        "do not make the person vomit",
    ):
        assert said in words, said


def test_the_order_is_that_of_an_auditor(crew: make.Crew) -> None:
    words = words_of(make.released_paste(crew))
    headings = (
        *("Exceptions", "What went in", "What was read", "Computed"),
        *("Results and judgements", "Charts of the formula", "Genealogy", "Bottles"),
        *("Signatures", "Journal of this batch", "Cautions"),
    )
    places = [words.index(heading) for heading in headings]
    assert places == sorted(places)


def test_each_page_says_whose_it_is_and_which(crew: make.Crew) -> None:
    batch = make.released_paste(crew)
    pages = pages_of(dossier_pdf(batch, printed_by="Aune Koski"))
    assert len(pages) > 2
    for number, page in enumerate(pages, start=1):
        assert f"Dossier {batch.number}" in page
        assert "by Aune Koski · never amended" in page
        assert f"Page {number} of {len(pages)}" in page


def test_a_corrected_row_stays_legible_struck_through_with_its_reason(
    crew: make.Crew,
) -> None:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    make.read_ph(crew, batch, "9.7")
    first = batch.readings.get(characteristic="ph")
    cooking.amend_reading(
        by=crew.maker,
        reading=first,
        value=Decimal("9.2"),
        method=first.method,
        instrument=first.instrument,
        reason="misread the strip",
    )
    words = words_of(batch)
    assert "Superseded, because: misread the strip" in words
    assert "Correction: misread the strip" in words
    assert words.count("· amended 1 time") == len(
        pages_of(dossier_pdf(batch, printed_by="x"))
    )
    (old,) = re.findall(r'<tr class="old">.*?</tr>', html_of(batch), re.DOTALL)
    assert '<span class="value">9.7</span>' in old
    assert "9.2" not in old


def test_an_unsigned_batch_says_so_and_is_computed_now(crew: make.Crew) -> None:
    words = words_of(make.cooked_batch(crew, ph="11"))
    assert "Nobody has signed a decision about this batch." in words
    assert "HELD Not released" in words
    assert "Computed on the day of printing: nobody has signed a decision" in words
    assert "Nobody has signed yet." in words
    exceptions = words[words.index("Exceptions") : words.index("What went in")]
    assert "pH 11" in exceptions


def test_a_batch_just_opened_has_a_dossier(crew: make.Crew) -> None:
    words = words_of(make.open_batch(crew))
    for said in ("Nothing has been weighed in.", "No reading.", "Not weighed."):
        assert said in words


def test_a_rejected_batch_shows_its_failure_first(crew: make.Crew) -> None:
    words = words_of(make.failed_paste(crew))
    exceptions = words[words.index("Exceptions") : words.index("What went in")]
    assert "The batch is rejected." in exceptions
    assert "pH: fail when signed" in exceptions
    assert "HELD Not released" in words
    assert ": reviewed and rejected" in words


def exceptions_of(batch: Batch) -> str:
    words = words_of(batch)
    return words[words.index("Exceptions") : words.index("What went in")]


def test_a_plain_batch_with_a_deviation_is_not_without_exceptions(
    crew: make.Crew,
) -> None:
    batch = make.cooked_batch(crew)
    found = faulty.closed(crew, batch, "", "no_effect")
    make.sign(crew.reviewer, batch)
    said = exceptions_of(batch)
    assert "None: signed" not in said
    assert (
        f"Deviation {found.code} of batch {batch.number} (major: can affect the"
        " product): no effect on the product."
    ) in said
    opened = faulty.deviation(crew.maker, batch.stock, "ph")
    assert (
        f"Deviation {opened.code} of batch {batch.number}, pH (major: can affect the"
        " product): open."
    ) in exceptions_of(batch)


def test_a_concession_stands_among_the_exceptions_with_its_conditions(
    crew: make.Crew,
) -> None:
    batch = make.cooked_batch(crew, ph="10.4")
    faulty.closed(crew, batch, "ph", "concession")
    make.sign(crew.reviewer, batch)
    assert (
        "concession: used although it does not conform. for floors only"
        in exceptions_of(batch)
    )


@pytest.mark.parametrize("how", ["amended", "repeated"])
def test_a_result_that_once_lay_outside_stands_among_the_exceptions(
    crew: make.Crew, how: str
) -> None:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    make.read_ph(crew, batch, "11")
    if how == "amended":
        row = batch.readings.get(characteristic="ph")
        cooking.amend_reading(
            by=crew.maker,
            reading=row,
            value=Decimal("9.7"),
            method=row.method,
            reason="misread the strip",
        )
        said = "outside the limit was corrected to 9.7: 11, because: misread the strip"
    else:
        lot = make.released_lot(crew, make.water(crew.maker))
        make.charge(crew, batch, lot.stock, 5000)
        said = "an earlier result lies outside the limit: 11."
    make.complete(crew, batch, ph="9.8")
    make.sign(crew.reviewer, batch)
    exceptions = exceptions_of(batch)
    assert "None: signed" not in exceptions
    # To weigh is said below; what is out of the ordinary is said at once.
    assert said in exceptions[: exceptions.index("To weigh")]


def test_a_filled_dilution_shows_bottles_holders_and_a_specimen(
    crew: make.Crew,
) -> None:
    lot = make.filled(crew, count=3, nominal_ul=250_000)
    sent, other, _ = make.bottles_of(lot)
    leaving.sent(crew, [sent, other], consignee=make.consignee(crew.maker))
    words = words_of(lot.batch)
    assert f"{lot.code} of batch {lot.batch.number}" in words
    assert "2 dispatched, 1 filled. With: Corner Shop Lindqvist (2)." in words
    assert "Label, as it was issued first" in words
    for bottle in make.bottles_of(lot):
        assert bottle.code not in words.replace("-", "").replace(" ", "")
    potash = RawLot.objects.get(material__kind="potash")  # by way of the paste
    assert f"{potash.code} {potash.material.name}, {potash.supplier.name}" in words


def test_the_paste_names_the_bottles_that_were_made_of_it(crew: make.Crew) -> None:
    paste = make.released_paste(crew)
    liquid = make.signed(
        crew.reviewer, make.diluted_batch(crew, paste=paste), "release"
    )
    lot = make.filled(crew, liquid)
    words = words_of(paste)
    assert f"{lot.code} of batch {liquid.number}" in words
    assert "Forwards: what it went into" in words
    assert "Label, as it was issued first" not in words


def test_a_rework_says_what_went_into_it(crew: make.Crew) -> None:
    failed = make.failed_paste(crew, "rework")
    batch = make.open_batch(crew, is_rework=True)
    make.charge(crew, batch, failed.stock, 100_000, is_rework=True)
    words = words_of(batch)
    assert "A rejected batch went into it for rework." in words
    assert f"{failed.number} {failed.formula_version.formula.name}" in words


def test_a_self_reviewed_signature_says_so_everywhere(
    crew: make.Crew, premises: Premises
) -> None:
    signature = signature_of(make.released_paste(crew))
    Signature.objects.create(
        batch=signature.batch,
        meaning="hold",
        signer=crew.maker,
        printed_name="Mirja Aalto",
        self_reviewed=True,
        record=signature.record,
        record_sha256=signature.record_sha256,
        observed_at=timezone.now(),
        entered_by=crew.maker,
    )
    words = words_of(signature.batch)
    assert (
        "Signature 2: Mirja Aalto signed their own work: self-reviewed, no independent"
        " check."
    ) in words
    assert "put on hold; self-reviewed, no independent check" in html_of(
        signature.batch
    )


def test_what_befell_a_signature_stands_first_and_beside_it(crew: make.Crew) -> None:
    batch = make.released_paste(crew)
    signature_of(batch).marks.create(
        kind="void",
        sentence="The pH was changed from 9.2 to 9.4.",
        reason="read again",
        observed_at=timezone.now(),
        entered_by=crew.maker,
    )
    words = words_of(batch)
    exceptions, rest = words.split("What went in", 1)
    for part in (exceptions, rest):
        assert "void: its record was changed afterwards" in part.lower()
        assert "The pH was changed from 9.2 to 9.4." in part
    assert "None: signed" not in exceptions


def test_deviations_of_the_batch_and_of_its_lots_are_told(crew: make.Crew) -> None:
    batch = make.released_paste(crew)
    charge = batch.charges.all()[0]
    for code, stock in (("D26-1", batch.stock), ("D26-2", charge.source)):
        made = Deviation.objects.create(
            code=code,
            stock=stock,
            classification="major",
            what=f"the scale of {code} stood askew",
            observed_at=timezone.now(),
            entered_by=crew.maker,
        )
        made.steps.create(
            kind="cause",
            text=f"cause of {code}",
            observed_at=timezone.now(),
            entered_by=crew.maker,
        )
    words = words_of(batch)
    for said in ("D26-1 open", "D26-2 open", "stood askew", "Cause. cause of D26-2"):
        assert said in words


def test_what_was_signed_is_printed_as_it_was_signed(crew: make.Crew) -> None:
    """A register that is corrected later changes no figure on paper."""
    batch = make.released_paste(crew)
    before = context_of(batch)["budgets"]
    scale = make.scale(crew.maker)
    type(scale).objects.filter(pk=scale.pk).update(bias_half_width=Decimal(50))
    batch = make.fresh(batch)
    assert context_of(batch)["budgets"] == before
    assert context_of(make.cooked_batch(crew))["budgets"][0].result != before[0].result


def test_the_need_and_the_supply_of_potash_are_told(crew: make.Crew) -> None:
    """Worked by hand from the charges: Σ m·SV/1000, m·share, their difference."""
    batch = make.released_paste(crew)
    told = context_of(batch)["alkali"]
    oils, potash = Decimal(0), Decimal(0)
    for net, figure in batch.charges.values_list("net_mg", "figure"):
        if figure is not None and figure > 1:  # mg KOH/g, of an oil
            oils += net * figure
        elif figure is not None:
            potash += net * figure
    need, brought = oils / 10**6, potash / 1000
    assert (told.need, told.brought) == (need, brought)
    assert told.left_over == brought - need
    assert need > 150


def test_a_dilution_has_no_sum_of_potash(crew: make.Crew) -> None:
    assert context_of(make.released_liquid(crew))["alkali"] is None


def test_a_chart_ends_with_the_batch_itself(crew: make.Crew) -> None:
    batches = [
        make.cooked_batch(crew, ph=f"9.{place % 4 + 1}", basis_mg=100_000)
        for place in range(9)
    ]
    (of_eighth,) = (
        one for one in context_of(batches[7])["charts"] if one.heading == "pH"
    )
    assert (of_eighth.place, of_eighth.value) == (8, Decimal("9.4"))
    assert of_eighth.svg.startswith("<svg")
    assert of_eighth.svg.count("9.") > 0
    of_second = next(iter(context_of(batches[1])["charts"]))
    assert (of_second.place, of_second.svg) == (2, "")
    assert "2 results so far" in of_second.sentence


def test_a_titration_is_told_with_its_samples(crew: make.Crew) -> None:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    lab.free_alkali(crew, batch, "1.2", "1.3")
    words = words_of(batch)
    assert "Free alkali by titration" in words
    assert "1: 10 g, 1.2 ml" in words
    assert "Potassium hydroxide by titration" in words


# ------------------------------------------------------------------ the same list


def waiting(crew: make.Crew) -> Batch:
    batch = make.cooked_batch(crew, ph="11")
    faulty.deviation(crew.maker, batch.stock, "ph")
    return batch


def void(crew: make.Crew) -> Batch:
    batch = make.released_paste(crew)
    reading = batch.readings.get(characteristic="ph")
    changing.change_reading(
        by=crew.maker,
        reading=reading,
        value=Decimal("9.6"),
        method=reading.method,
        instrument=reading.instrument,
        reason="the meter was misread",
    )
    return batch


@pytest.mark.parametrize(
    "made", [waiting, make.released_paste, void, make.failed_paste]
)
def test_the_paper_tells_the_same_exceptions_as_the_review_page(
    crew: make.Crew, client: Client, made: Callable[[make.Crew], Batch]
) -> None:
    batch = make.fresh(made(crew))
    client.force_login(crew.reviewer)
    page = client.get(reverse("quality:review", args=[batch.number]))
    told = page.context["exceptions"]
    assert context_of(batch)["exceptions"] == told
    assert not told.is_none
    paper, screen = unescape(html_of(batch)), unescape(page.content.decode())
    paper = paper[paper.index("<h2>Exceptions") : paper.index("<h2>What went in")]
    assert "None:" not in paper
    for sentence in (
        *(one.sentence for one in told.unusual),
        *(*told.obstacles, *told.notes, *told.differences),
        *(one.new.row.reason for one in told.corrections),
        *(one.code for one in told.deviations),
    ):
        assert sentence in paper
        assert sentence in screen
    for one in told.head:
        assert one.sentence in paper


def test_nothing_unusual_is_said_only_where_the_list_is_empty(crew: make.Crew) -> None:
    batch = make.released_paste(crew)
    context = {**context_of(batch), "premises": Premises.objects.get()}
    names = {field.name for field in dataclasses.fields(Exceptions)} - {"heading"}
    nothing = dataclasses.replace(context["exceptions"], **{key: [] for key in names})
    assert nothing.is_none
    for name in names:
        assert not dataclasses.replace(nothing, **{name: [name]}).is_none, name
    said = "None: signed, every result a plain pass"
    for exceptions in (nothing, dataclasses.replace(nothing, notes=["never checked"])):
        html = render_to_string(
            "quality/dossier.html", {**context, "exceptions": exceptions}
        )
        assert (said in html) == exceptions.is_none


def test_what_went_bad_later_stands_apart_from_what_was_signed(
    crew: make.Crew,
) -> None:
    batch = make.released_paste(crew)
    lot = batch.charges.select_related("source__lot")[0].source.lot
    intake.decide_lot(
        by=crew.reviewer, lot=lot, new="on_hold", reason="the oil smells off"
    )
    words = exceptions_of(batch)
    _, _, today = words.partition("As it stands today (")
    assert f"Raw lot {lot.code} ({lot.material.name}) is in it and is on hold." in today


def test_a_void_signature_keeps_its_figures_on_paper(crew: make.Crew) -> None:
    batch = make.fresh(void(crew))
    html = unescape(html_of(batch))
    signed = html[html.index("<h2>Signatures") :]
    assert "What this signature signed" in signed
    assert re.search(r"<td>9\.2 ± [0-9.]+ ", signed)
    assert "Potassium hydroxide by weighing" in signed
    assert "approved by Rasmus Lind" in signed
    assert "nobody has signed" not in html.lower()
    assert "signature 1 by Rasmus Lind, is void" in html
    assert "9.6" in html[: html.index("<h2>Signatures")]


def test_a_result_stands_with_its_window_its_limit_and_who_approved_it(
    crew: make.Crew,
) -> None:
    for batch in (make.released_paste(crew), make.cooked_batch(crew)):
        html = html_of(batch)
        judged = html[html.index("Results and judgements") : html.index("Instruments<")]
        assert 'class="window"' in judged
        assert "approved by Rasmus Lind" in judged
        assert "u = " not in html


def charged_from(crew: make.Crew, lots: int) -> Batch:
    """Return a cook into which so many more lots went."""
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    for _ in range(lots):
        lot = make.released_lot(crew, make.water(crew.maker))
        make.charge(crew, batch, lot.stock, 1000)
    make.complete(crew, batch)
    return make.fresh(batch)


def test_the_number_of_queries_does_not_grow_with_what_is_in_it(
    crew: make.Crew,
) -> None:
    asked = []
    for lots in (2, 20):
        batch = charged_from(crew, lots)
        context_of(batch)  # what is asked once in a process
        with CaptureQueriesContext(connection) as queries:
            html_of(batch)
        asked.append(len(queries))
        of_the_way_up = [x for x in queries if "AS (\n  VALUES" in x["sql"]]
        assert len(of_the_way_up) <= WAYS
    assert asked[0] == asked[1]
    assert asked[1] <= MOST_QUERIES


def test_the_page_hands_it_out_and_writes_nothing(
    crew: make.Crew, auditor: User, client: Client
) -> None:
    batch = make.released_paste(crew)
    client.force_login(auditor)
    before = row_counts()
    response = client.get(reverse("quality:dossier", args=[batch.number]))
    assert response.status_code == 200
    assert response["Content-Type"] == "application/pdf"
    assert f"dossier-{batch.number}.pdf" in response["Content-Disposition"]
    assert "by Aune Koski" in pages_of(response.content)[0]
    changed = {
        name
        for name, count in row_counts().items()
        if count != before[name] and "session" not in name
    }
    assert not changed


def test_the_batch_page_leads_to_it(crew: make.Crew, client: Client) -> None:
    batch = make.open_batch(crew)
    client.force_login(crew.maker)
    page = client.get(reverse("batches:batch", args=[batch.number])).content.decode()
    assert reverse("quality:dossier", args=[batch.number]) in page
    assert reverse("quality:export") not in page  # a maker takes nothing out
