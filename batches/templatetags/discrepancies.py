"""Entries that do not fit the book, on the pages of batches, lots and the store."""

from __future__ import annotations

from typing import Any

from django import template
from django.db import models

from batches.models import Batch, Discrepancy
from batches.services import discrepancies
from producer.models import Stock

register = template.Library()


@register.inclusion_tag("batches/_discrepancies.html")
def discrepancies_of(batch: Batch) -> dict[str, Any]:
    """List the discrepancies of a batch, open or settled, the open ones first."""
    return _listed(Discrepancy.objects.filter(batch=batch))


@register.inclusion_tag("batches/_discrepancies.html")
def discrepancies_of_stock(stock: Stock) -> dict[str, Any]:
    """List what was taken of a lot and is not in the book, and what that leaves."""
    listed = _listed(Discrepancy.objects.filter(stock=stock))
    beyond = sum(row.sent["net_mg"] for row, _, is_open in listed["rows"] if is_open)
    return {**listed, "stock": stock, "left_mg": stock.on_hand_mg - beyond}


@register.inclusion_tag("batches/_store_discrepancies.html")
def store_discrepancies() -> dict[str, Any]:
    """List the stocks of which more was taken than the book has, with what is left."""
    beyond = discrepancies.beyond_the_book()
    stocks = Stock.objects.filter(pk__in=beyond).order_by("pk") if beyond else []
    return {
        "rows": [
            (stock, beyond[stock.pk], stock.on_hand_mg - beyond[stock.pk])
            for stock in stocks
        ]
    }


def _listed(rows: models.QuerySet[Discrepancy]) -> dict[str, Any]:
    found = [
        (row, discrepancies.said(row), not hasattr(row, "end"))
        for row in rows.select_related(
            "batch__stock", "stock", "entered_by__person", "end__entered_by__person"
        ).order_by("pk")
    ]
    found.sort(key=lambda one: not one[2])
    return {"rows": found, "open": any(is_open for *_, is_open in found)}
