"""The containers of a lot, on its page."""

from __future__ import annotations

from typing import Any

from django import template

from batches.models import ContainerWeighing
from producer.models import RawLot
from producer.services.containers import containers_of

register = template.Library()


@register.inclusion_tag("batches/_containers.html", takes_context=True)
def lot_containers(context: dict[str, Any], lot: RawLot) -> dict[str, Any]:
    """Show each container of a lot: its book, its place, and all its weighings."""
    containers = containers_of(lot)
    weighings: dict[int | None, list[ContainerWeighing]] = {}
    rows = (
        ContainerWeighing.objects.current()
        .filter(container__in=containers)
        .order_by("observed_at", "pk")
    )
    for row in rows if containers else ():
        weighings.setdefault(row.container_id, []).append(row)
    return {
        "lot": lot,
        "user": context["user"],
        "rows": [
            {
                "container": one,
                "series": weighings.get(one.pk, []),
                "last": weighings.get(one.pk, [None])[-1],
            }
            for one in containers
        ],
        "outside_mg": lot.stock.on_hand_mg - sum(one.book_mg for one in containers),
    }
