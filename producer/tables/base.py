"""What every table of ours does: explicit columns, one page size, safe paging."""

from __future__ import annotations

from typing import Any, TypeVar

import django_tables2 as tables
from django.core.paginator import EmptyPage
from django.http import HttpRequest
from django.template.loader import render_to_string
from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe

from producer.quantities import whole_number
from producer.templatetags.kettlebook import day, mass, moment, number

ROWS_ON_A_PAGE = 25

AnyTable = TypeVar("AnyTable", bound=tables.Table)


class MassColumn(tables.Column):
    """A mass in milligrams, shown as people say it."""

    attrs = {"td": {"class": "num"}, "th": {"class": "num"}}  # noqa: RUF012

    def render(self, value: int) -> str:
        """Show the mass."""
        return mass(value)


class NumberColumn(tables.Column):
    """A number as people write it, without the zeros of the database."""

    attrs = {"td": {"class": "num"}, "th": {"class": "num"}}  # noqa: RUF012

    def render(self, value: Any) -> str:
        """Show the number."""
        return number(value)


class YesNoColumn(tables.Column):
    """Something that is so or is not, in a word."""

    def render(self, value: bool) -> str:  # noqa: FBT001 - the table calls it
        """Say yes or no."""
        return "yes" if value else "no"


class DayColumn(tables.Column):
    """A calendar day."""

    def render(self, value: Any) -> str:
        """Show the day."""
        return day(value)


class MomentColumn(tables.Column):
    """A time of the premises with its offset."""

    def render(self, value: Any) -> str:
        """Show the time."""
        return moment(value)


def status_words(status: str, label: str) -> SafeString:
    """Return a status by word and shape."""
    html = render_to_string("_status.html", {"status": status, "label": label})
    return mark_safe(html.strip())  # noqa: S308 - our own template, which escapes


def link(address: str, text: str) -> SafeString:
    """Return a link."""
    return format_html('<a href="{}">{}</a>', address, text)


def show(request: HttpRequest, table: AnyTable) -> AnyTable:
    """Order and page a table by the address; nonsense there shows the first page."""
    order = request.GET.getlist(table.prefixed_order_by_field)
    if order:
        table.order_by = order
    page = whole_number(request.GET.get(table.prefixed_page_field), default=1)
    try:
        table.paginate(page=page, per_page=ROWS_ON_A_PAGE)
    except EmptyPage:
        table.paginate(page=1, per_page=ROWS_ON_A_PAGE)
    return table
