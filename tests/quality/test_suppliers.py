"""A supplier by its record, and what a consignee holds."""

from __future__ import annotations

import datetime
from decimal import Decimal

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from producer.models import Supplier, User
from producer.services import intake
from quality.services import deviating, recalling, suppliers
from tests import hands, leaving, make
from tests.doors.pages import page_of

pytestmark = pytest.mark.django_db


def day(number: int) -> datetime.date:
    return make.TODAY + datetime.timedelta(days=number)


def page_of_supplier(supplier: Supplier) -> str:
    return reverse("quality:supplier", args=[supplier.pk])


def test_lots_and_papers_are_counted_as_they_came(crew: make.Crew) -> None:
    oil = make.sunflower(crew.maker)  # 188 to 194
    make.released_lot(crew, oil, certificate={"saponification_value": Decimal(194)})
    late = make.released_lot(
        crew,
        oil,
        received_on=day(-8),
        certificate={"saponification_value": Decimal("194.1")},
    )
    in_time = make.released_lot(crew, oil, received_on=day(-7), certificate={})
    make.held_lot(crew, oil)
    bad = make.held_lot(crew, make.water(crew.maker))
    intake.decide_lot(by=crew.reviewer, lot=bad, new="rejected", reason="green")
    values = make.certificate_values(oil, saponification_value=Decimal(190))
    intake.record_certificate(
        by=crew.maker, lot=in_time, values=values, upload=None, reason="put right"
    )
    other = make.supplier(crew.maker, "Somebody else")
    make.held_lot(crew, oil, supplier=other)

    record = suppliers.record_of(make.supplier(crew.maker))
    assert len(record.lots) == 5
    # A corrected paper puts its lot on hold.
    assert (record.accepted, record.held, record.rejected) == (2, 2, 1)
    assert (record.missing, record.late, record.revised, record.outside) == (1, 1, 1, 1)
    by_lot = {one.lot.pk: one for one in record.lots}
    assert by_lot[late.pk].is_late
    assert by_lot[late.pk].outside
    assert not by_lot[in_time.pk].is_late
    assert by_lot[in_time.pk].value == 190


def test_deviations_and_recalls_that_touch_its_lots_are_listed(
    crew: make.Crew, client: Client
) -> None:
    lot = make.filled(crew)
    potash = lot.batch.stock  # the recall begins at the batch, not at the lot
    raw = suppliers.record_of(make.supplier(crew.maker)).lots[0].lot
    deviation = deviating.open_deviation(
        by=crew.maker, classification="minor", what="a torn sack", stock=raw.stock
    )
    mock = recalling.open_recall(
        by=crew.reviewer,
        root=raw.stock,
        hazard_class="3",
        reason="tried out",
        public_notice="x",
        is_mock=True,
    )
    unrelated = recalling.open_recall(
        by=crew.reviewer,
        root=potash,
        hazard_class="3",
        reason="a smell",
        public_notice="Bring it back.",
    )
    record = suppliers.record_of(make.supplier(crew.maker))
    assert record.deviations == [deviation]
    assert record.recalls == [mock]
    client.force_login(crew.maker)
    words = page_of(client.get(page_of_supplier(record.supplier))).words
    assert deviation.code in words
    assert mock.code in words
    assert unrelated.code not in words


def test_everybody_may_read_a_supplier_and_a_value_leads_to_its_chart(
    crew: make.Crew, auditor: User, client: Client
) -> None:
    lot = make.released_lot(crew, make.potash(crew.maker))
    client.force_login(auditor)
    page = client.get(page_of_supplier(lot.supplier)).text
    chart = reverse("quality:material_chart", args=[lot.material_id, "assay"])
    assert f'href="{chart}"' in page
    assert client.get(chart).status_code == 200
    lists = client.get(reverse("producer:register", args=["suppliers"])).text
    assert f'href="{page_of_supplier(lot.supplier)}"' in lists


def test_the_newest_twenty_five_are_shown_and_the_questions_stay_as_many(
    crew: make.Crew, client: Client
) -> None:
    oil = make.sunflower(crew.maker)
    make.released_lot(crew, oil, certificate={})
    make.released_lot(crew, oil, certificate={})
    client.force_login(crew.maker)
    address = page_of_supplier(make.supplier(crew.maker))
    few = asked(client, address)
    for _ in range(24):
        make.held_lot(crew, oil)
    assert asked(client, address) == few
    words = page_of(client.get(address)).words
    assert "The newest 25 of 26" in words


def asked(client: Client, page: str) -> int:
    client.get(page)
    with CaptureQueriesContext(connection) as queries:
        assert client.get(page).status_code == 200
    return len(queries)


def test_a_consignee_holds_what_was_sent_and_did_not_come_back(
    crew: make.Crew, client: Client
) -> None:
    lot = make.filled(crew)
    shop = make.consignee(crew.maker)
    one, two = make.bottles_of(lot)
    dispatch = leaving.sent(crew, [one, two], consignee=shop)
    assert [(row.lot, row.bottles) for row in suppliers.held_by(shop)] == [(lot, 2)]
    two.refresh_from_db()
    hands.moved(crew.maker, two, "returned", "leaks")
    assert [row.bottles for row in suppliers.held_by(shop)] == [1]
    client.force_login(crew.reviewer)
    words = page_of(client.get(reverse("quality:consignee", args=[shop.pk]))).words
    assert lot.code in words
    assert dispatch.code in words
