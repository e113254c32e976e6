"""The journal and the registers as tables."""

from __future__ import annotations

import django_tables2 as tables
from django.urls import reverse
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from producer import subjects
from producer.changes import changes_of
from producer.models import JournalEntry, User
from producer.services import journal_reading
from producer.tables.base import MomentColumn, link


class Acts(tables.data.TableData):
    """The acts of a page, with the address of each record they were on."""

    def __len__(self) -> int:
        """Return how many there are."""
        return self.data.count()  # type: ignore[no-any-return]

    def order_by(self, _aliases: object) -> None:
        """Keep them as they are: the journal has one order."""

    def __getitem__(self, wanted: slice) -> list[JournalEntry]:
        """Return those of a page."""
        entries = journal_reading.page(self.data, wanted.start, wanted.stop)
        self.addresses = subjects.addresses(entries)
        return entries


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

    def render_act(self, record: JournalEntry) -> SafeString:
        """Link to the act in full."""
        return link(reverse("producer:act", args=[record.sequence]), record.act)

    def render_subject_label(self, record: JournalEntry) -> SafeString | str:
        """Link to the record that the act was on."""
        address = self.data.addresses.get(record.sequence)
        if not address:
            return record.subject_label
        return link(address, record.subject_label)

    def render_changes(self, record: JournalEntry) -> SafeString | str:
        """Show each value that the act changed, the old one struck through."""
        return format_html_join(
            "",
            "<div>{}: {}{}</div>",
            (
                (
                    change.name,
                    format_html('<span class="struck">{}</span> ', change.old)
                    if change.old
                    else "",
                    change.new,
                )
                for change in changes_of(record)
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
