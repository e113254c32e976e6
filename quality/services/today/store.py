"""The store: lots to decide about, dates, containers, and what runs out."""

from __future__ import annotations

import datetime

from django.db.models import Exists, F, OuterRef, Q
from django.db.models.functions import Coalesce, Least

from batches.models import Charge, ContainerWeighing
from batches.services.cover import InStore, cover_all
from producer.models import Container, Material, RawLot
from producer.quantities import format_mass
from quality.services.today.plain import (
    MAKER,
    REVIEWER,
    SOON,
    Kind,
    Row,
    local,
    of_list,
    of_query,
    page,
    since,
    until,
)

# Two weeks are time to order and to test what came: ours, no source.
LOW_BELOW = 14  # days
FAR = datetime.date.max
Status = RawLot.Status


def to_decide(today: datetime.date) -> Kind:
    """Lots that are held or on hold."""

    def row(one: RawLot) -> Row:
        return Row(
            **_of_lot(one),
            when=f"here {since(one.received_on, today)}",
            do="Decide about it",
            do_at=page("quality:lot_decide", one.code),
            rights=REVIEWER,
        )

    waiting = [Status.ON_HOLD, Status.QUARANTINE]
    return of_query(
        "lot",
        "Raw lots to decide about",
        RawLot.objects.listed().filter(status__in=waiting).order_by("status", "pk"),
        row,
        all_at=page("producer:lots", query={"status": Status.QUARANTINE.value}),
    )


def dates(today: datetime.date) -> Kind:
    """Released lots with something left, past or near their expiry or retest."""
    soon = today + SOON
    near = (
        RawLot.objects.listed()
        .filter(status=Status.RELEASED, stock__on_hand_mg__gt=0)
        .filter(Q(expires_on__lte=soon) | Q(retest_on__lte=soon))
        .annotate(
            first=Least(Coalesce(F("expires_on"), FAR), Coalesce(F("retest_on"), FAR))
        )
        .order_by("first", "pk")
    )

    def row(one: RawLot) -> Row:
        when, do, do_at = _date_of(one, today)
        past = one.is_expired(today) or one.is_retest_due(today)
        facts = _of_lot(one)
        if past:
            slug = "expired" if one.is_expired(today) else "retest_due"
            facts |= {"status": slug, "label": slug.replace("_", " ")}
        return Row(**facts, when=when, do=do, do_at=do_at, rights=MAKER)

    return of_query(
        "date",
        "Raw lots past or near a date",
        near,
        row,
        all_at=page("producer:lots", query={"status": Status.RELEASED.value}),
    )


def not_weighed(today: datetime.date) -> Kind:
    """Containers of potash that were opened and not weighed since."""
    weighed = ContainerWeighing.objects.current().filter(
        container=OuterRef("pk"), observed_at__gte=OuterRef("opened_at")
    )
    by_difference = Charge.objects.current().filter(
        container=OuterRef("pk"),
        by_difference=True,
        observed_at__gte=OuterRef("opened_at"),
    )
    opened = (
        Container.objects.with_book()
        .filter(
            lot__material__kind=Material.Kind.POTASH,
            opened_at__isnull=False,
        )
        .filter(Q(book_mg__gt=0))
        .exclude(lot__status=Status.REJECTED)
        .exclude(Exists(weighed))
        .exclude(Exists(by_difference))
        .select_related("lot__stock", "lot__material")
        .order_by("opened_at", "pk")
    )

    def row(one: Container) -> Row:
        assert one.opened_at is not None  # noqa: S101 - filtered above, for the types
        return Row(
            name=one.code,
            at=page("producer:lot", one.lot.code),
            words=f"{one.lot.material.name}: it takes water from the air once open.",
            when=f"opened {since(local(one.opened_at), today)}",
            status="retest_due",
            label="not weighed",
            do="Weigh it",
            do_at=page("batches:container", one.lot.code),
            rights=MAKER,
        )

    return of_query("container", "Opened potash, not weighed since", opened, row)


def running_out(today: datetime.date) -> Kind:
    """Materials that last less than two weeks at the use of late."""
    low = [
        one for one in cover_all(today) if one.days is not None and one.days < LOW_BELOW
    ]
    low.sort(key=lambda one: (one.days or 0, one.material.name))

    def row(one: InStore) -> Row:
        days = int(one.days or 0)
        lasts = f"lasts {days} day{'' if days == 1 else 's'}" if days else "is used up"
        waiting = (
            f", {format_mass(one.waiting_mg)} waits for a decision"
            if one.waiting_mg
            else ""
        )
        return Row(
            name=one.material.name,
            at=page("quality:material_limits", one.material.pk),
            words=f"{format_mass(one.usable_mg)} usable{waiting}",
            when=f"{lasts} at the use of late",
            status="retest_due",
            label="low",
            do="Order it, then receive it",
            do_at=page("producer:lot_receive"),
            rights=MAKER,
        )

    return of_list("low", "Running out", low, row, all_at=page("batches:store"))


def _of_lot(lot: RawLot) -> dict[str, str]:
    return {
        "name": lot.code,
        "at": page("producer:lot", lot.code),
        "words": f"{lot.material.name}, {lot.supplier.name}, lot {lot.supplier_lot}",
        "status": lot.status,
        "label": lot.get_status_display(),
    }


def _date_of(lot: RawLot, today: datetime.date) -> tuple[str, str, str]:
    """Return which date comes first, in words, and what to do about it."""
    at = page("producer:lot", lot.code)
    expires, retest = lot.expires_on or FAR, lot.retest_on or FAR
    if expires <= retest:
        do = "Dispose of it" if lot.is_expired(today) else "Use it first"
        if lot.is_expired(today):
            at = page("producer:lot_dispose", lot.code)
        return (
            until(expires, today, "expires" if expires >= today else "expired"),
            do,
            at,
        )
    return until(retest, today, "retest due"), "Test it again", at
