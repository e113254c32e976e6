"""What the demo has to show, looked at in one telling of its story."""

from __future__ import annotations

import datetime
import json
from collections import Counter
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path

import pytest
from django.utils import timezone
from pytest_django import DjangoDbBlocker, Settings

from batches.documents.labels import check_fit
from batches.lifecycle import BatchStatus
from batches.models import (
    Batch,
    Bottle,
    Charge,
    FillingBalance,
    FillingLot,
    Formula,
    LabelCopy,
    LabelIssue,
    LabelVersion,
    Reading,
    SampleLook,
)
from batches.services.filling_state import why_not_leaving
from batches.services.label_counts import reconciliation
from batches.services.labelling import placement_of, text_of
from batches.services.planning import plan_of
from batches.services.results import yield_of
from producer.models import (
    Certificate,
    JournalEntry,
    Material,
    Premises,
    RawLot,
    StockMovement,
    User,
)
from producer.services.attachments import path_of
from quality.models import Judgement, Recall
from quality.services import audit, complaints, filling_release
from quality.statistics.conformity import Verdict
from tests.quality.told import told


@pytest.fixture(scope="module")
def directory(
    django_db_setup: None,
    django_db_blocker: DjangoDbBlocker,
    tmp_path_factory: pytest.TempPathFactory,
) -> Iterator[Path]:
    directory = tmp_path_factory.mktemp("story")
    with told(django_db_blocker, directory):
        yield directory


@pytest.fixture(autouse=True)
def _its_files(directory: Path, settings: Settings) -> None:
    settings.MEDIA_ROOT = directory / "uploads"


def test_each_of_four_people_has_a_password_of_their_own(directory: Path) -> None:
    logins = directory / "logins.json"
    accounts = json.loads(logins.read_text(encoding="utf-8"))
    assert [set(account) for account in accounts] == [
        {"username", "password", "name", "rights"}
    ] * 4
    assert {right for account in accounts for right in account["rights"]} == {
        "Owner",
        "Maker",
        "Reviewer",
        "Auditor",
    }
    assert len({account["password"] for account in accounts}) == 4
    for account in accounts:
        user = User.objects.get(username=account["username"])
        assert user.check_password(account["password"])
        assert {right.label for right in user.rights} == set(account["rights"])


def test_the_history_lies_in_the_past_in_the_order_it_was_written() -> None:
    times = list(JournalEntry.objects.order_by("sequence").values_list("at", flat=True))
    assert times == sorted(times)
    now = timezone.now()
    assert now - times[0] > datetime.timedelta(days=170)
    assert times[-1] < now
    for charge in Charge.objects.all():
        assert not charge.observed_later_than_entered
        late = charge.entered_at - charge.observed_at
        assert late < datetime.timedelta(minutes=1) or charge.supersedes


def test_the_story_has_every_kind_of_end() -> None:
    cooks = Batch.objects.filter(kind=Formula.Kind.COOK)
    assert Counter(cooks.values_list("status", flat=True)) == {
        BatchStatus.RELEASED: 5,
        BatchStatus.REWORKED: 1,
        BatchStatus.ABANDONED: 1,
        BatchStatus.DISPOSED: 1,
        BatchStatus.AWAITING_REVIEW: 1,
        BatchStatus.IN_PROCESS: 1,
    }
    assert cooks.get(is_rework=True).status == BatchStatus.RELEASED
    assert Counter(RawLot.objects.values_list("status", flat=True)) == {
        RawLot.Status.RELEASED: 9,
        RawLot.Status.ON_HOLD: 1,
        RawLot.Status.REJECTED: 2,
        RawLot.Status.QUARANTINE: 1,
    }
    assert Certificate.objects.filter(version=2).count() == 1
    assert set(Recall.objects.values_list("is_mock", "status")) == {
        (False, "closed"),
        (True, "closed"),
    }
    assert set(Bottle.objects.values_list("status", flat=True)) == {
        *("filled", "on_hold", "retained", "dispatched", "returned", "destroyed"),
    }
    assert all(12 <= lot.count <= 48 for lot in FillingLot.objects.all())
    assert FillingLot.objects.count() == 9


def test_the_first_cook_was_rejected_for_its_ph_and_its_rework_passed() -> None:
    first = Batch.objects.get(status=BatchStatus.REWORKED)
    judged = {
        row.characteristic: row.verdict
        for row in Judgement.objects.filter(signature__batch=first)
    }
    assert judged["ph"] == Verdict.FAIL
    assert judged["clarity"] == judged["yield_variance"] == Verdict.PASS
    again = Batch.objects.get(is_rework=True)
    assert again.inputs.filter(source_id=first.pk, mass_mg__gt=3_000_000).exists()


def test_the_numbers_make_sense_at_the_pot() -> None:
    weighed = [
        (batch, result)
        for batch in Batch.objects.filter(kind=Formula.Kind.COOK)
        if (result := yield_of(batch)).actual_mg
    ]
    assert len(weighed) == 8
    for batch, result in weighed:
        assert result.variance_percent is not None
        assert -5 <= result.variance_percent <= -1, batch.number
    degrees = sorted(
        row.value
        for row in Reading.objects.filter(characteristic="temperature")
        if row.value is not None
    )
    assert degrees[-1] == Decimal("74.5")
    assert Decimal(55) <= degrees[0] <= degrees[-2] <= Decimal(69)
    for lot in FillingLot.objects.all():
        assert Decimal("1.000") <= lot.density <= Decimal("1.030")


def test_what_was_charged_is_what_was_planned() -> None:
    # The first cook was planned by a certificate that has a newer version since.
    cooks = Batch.objects.filter(kind=Formula.Kind.COOK, is_rework=False).exclude(
        status__in=[BatchStatus.REWORKED, BatchStatus.ABANDONED]
    )
    compared = 0
    for batch in cooks:
        for line in plan_of(batch).lines:
            if line.charged_mg:
                assert line.target_mg is not None
                assert abs(line.charged_mg - line.target_mg) <= 3_000
                compared += 1
            else:
                assert line.kind == Material.Kind.POTASH
                assert batch.status == BatchStatus.IN_PROCESS
    assert compared == 5 * 7 - 1


def test_the_masses_are_the_same_in_every_demo() -> None:
    # Both read off one load of this scenario; a changed seed or story changes them.
    assert StockMovement.objects.count() == 115
    first = Charge.objects.order_by("pk")[:3]
    assert [row.net_mg for row in first] == [998_000, 600_000, 402_000]


def test_every_paper_says_that_it_is_invented() -> None:
    papers = [row.attachment for row in Certificate.objects.all()]
    pdf = [paper for paper in papers if paper and paper.content_type.endswith("pdf")]
    assert len(papers) == len(pdf) + 1
    for paper in pdf:
        data = path_of(paper).read_bytes()
        title = "Invented certificate for the demo"
        assert title.encode() in data or title.encode("utf-16-be") in data


def test_the_demo_asks_for_no_help_from_anybody_real() -> None:
    premises = Premises.objects.get()
    assert premises.email.endswith(".example")
    assert "invented" in premises.poison_centre


def test_a_complaint_was_answered_and_an_audit_of_ones_own_was_held() -> None:
    (account,) = complaints.found()
    now = complaints.standing(account.complaint)
    assert (now.is_open, now.conclusion, now.lacking) == (False, "justified", [])
    (held,) = audit.inspections()
    assert held.missing
    assert audit.drawn_by(held.number).bottle == held.bottle
    assert audit.draws_for(held).words.startswith(
        "This was draw 1 of 1; no audit was held before it. Drawn on "
    )


def test_every_filling_lot_was_labelled_weighed_sampled_and_released() -> None:
    lots = list(FillingLot.objects.order_by("pk"))
    assert why_not_leaving(lots) == {}
    for lot in lots:
        assert reconciliation(lot).closes
        assert filling_release.looked_at(lot).is_checked
        assert lot.samples.filter(mass_mg__gt=0).count() == 1
        assert not lot.release.self_reviewed
        assert lot.release.entered_by.username == "isolde"
    look = SampleLook.objects.get()
    assert (look.state, look.sample.filling_lot) == ("as_filled", lots[0])
    assert look.look_on == lots[0].use_by
    assert timezone.now() - look.entered_at > datetime.timedelta(days=20)
    reprinted = LabelCopy.objects.filter(copy=2).values_list("bottle__number")
    assert list(reprinted) == [(5,)]
    assert {row.label.language for row in LabelIssue.objects.all()} == {"en", "de"}
    assert LabelVersion.objects.count() == 4
    assert FillingBalance.objects.exclude(unexplained_mg=0).count() == 1


@pytest.mark.usefixtures("directory")
def test_every_label_of_the_demo_fits() -> None:
    issues = LabelIssue.objects.select_related(
        "label__formula", "filling_lot__batch__formula_version__formula"
    )
    purposes = {issue.label.formula.purpose for issue in issues}
    assert purposes == {"wash", "spray"}
    assert {issue.label.language for issue in issues} == {"en", "de"}
    for issue in issues:
        check_fit(text_of(issue), placement_of(issue).sheet)
