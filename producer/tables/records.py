"""The journal and the registers as tables."""

from __future__ import annotations

import django_tables2 as tables
from django.urls import reverse
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from producer.models import JournalEntry, User
from producer.tables.base import MomentColumn, link


class JournalTable(tables.Table):
    """Acts, newest first: who, when, what, before and after, why."""

    sequence = tables.Column(verbose_name="No.", attrs={"td": {"class": "brief"}})
    at = MomentColumn(verbose_name="When")
    actor_name = tables.Column(verbose_name="Who")
    act = tables.Column(verbose_name="What")
    subject_label = tables.Column(verbose_name="On")
    changes = tables.Column(
        empty_values=(),
        verbose_name="Before → after",
        attrs={"td": {"class": "roomy"}},
    )
    reason = tables.Column(verbose_name="Why")

    class Meta:
        model = JournalEntry
        fields = ()
        orderable = False
        empty_text = "No act fits what you look for."

    def render_changes(self, record: JournalEntry) -> SafeString | str:
        """Show each value that the act changed, the old one struck through."""
        before, after = record.before_values, record.after_values
        names = [name for name in after if before.get(name) != after[name]]
        return format_html_join(
            "",
            "<div>{}: {}{}</div>",
            (
                (
                    name.replace("_", " "),
                    format_html('<span class="struck">{}</span> ', before[name])
                    if before.get(name) not in (None, "")
                    else "",
                    "" if after[name] is None else str(after[name]),
                )
                for name in names
            ),
        )


class AccountTable(tables.Table):
    """The accounts and their rights."""

    person = tables.Column(accessor="person__name", verbose_name="Person")
    username = tables.Column(verbose_name="Account")
    rights = tables.Column(verbose_name="Rights", orderable=False)
    is_active = tables.Column(verbose_name="In use")

    class Meta:
        model = User
        fields = ()
        empty_text = "No account yet."

    def render_username(self, record: User) -> SafeString:
        """Link to the account."""
        return link(reverse("producer:account", args=[record.pk]), record.username)

    def render_rights(self, record: User) -> str:
        """Show the rights in words."""
        return ", ".join(sorted(right.label for right in record.rights)) or "reads"

    def render_is_active(self, record: User) -> str:
        """Say whether the account can be used."""
        return "yes" if record.is_active else "closed"
