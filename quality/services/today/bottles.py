"""Bottles in doubt, and contact data whose time is over."""

from __future__ import annotations

import datetime

from batches.models import BottleDiscrepancy
from batches.services.bottle_doubts import still_open
from producer.codes import grouped
from producer.models import Consignee
from quality.services.erasing import due as data_due
from quality.services.today.plain import (
    MAKER,
    REVIEWER,
    Kind,
    Row,
    local,
    of_list,
    page,
    until,
)


def doubts(today: datetime.date) -> Kind:
    """Bottles that were found where the records say they cannot be."""

    def row(one: BottleDiscrepancy) -> Row:
        return Row(
            name=grouped(one.bottle.code),
            at=page("quality:bottle", one.bottle.code),
            words=f"{one.get_kind_display()}, filling lot {one.bottle.filling_lot}",
            when=until(local(one.observed_at), today, "found"),
            status="on_hold",
            label="in doubt",
            do="Look, and settle it",
            do_at=page("quality:bottle_doubt_settle", one.pk),
            rights=REVIEWER,
        )

    return of_list("bottle-doubts", "Bottles in doubt", list(still_open()), row)


def contact_data(today: datetime.date) -> Kind:
    """Contact data that were to be kept until a day that is over."""

    def row(one: Consignee) -> Row:
        assert one.keep_until is not None  # noqa: S101 - due() returns no other
        return Row(
            name=one.name,
            at=page("quality:consignee", one.pk),
            words="contact data kept for a recall",
            when=until(one.keep_until, today, "to be kept until"),
            status="expired",
            label="over",
            do="Erase them",
            do_at=page("quality:consignee_erase", one.pk),
            rights=MAKER,
        )

    return of_list("contact-data", "Contact data to erase", list(data_due(today)), row)
