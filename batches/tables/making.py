"""Formulas, batches, filling lots, bottles and dispatches as tables."""

from __future__ import annotations

import django_tables2 as tables
from django.urls import reverse
from django.utils.safestring import SafeString

from batches.models import Batch, Bottle, Dispatch, FillingLot, Formula
from batches.services.corrections import in_words
from producer.codes import grouped
from producer.tables.base import DayColumn, MassColumn, MomentColumn, link, status_words
from producer.templatetags.kettlebook import volume


class FormulaTable(tables.Table):
    """The formulas, each with its newest version."""

    name = tables.Column(verbose_name="Formula")
    kind = tables.Column(verbose_name="Kind")
    purpose = tables.Column(verbose_name="For")

    class Meta:
        model = Formula
        fields = ()
        empty_text = "No formula yet. Write the first one."

    def render_name(self, record: Formula) -> SafeString:
        """Link to the formula."""
        return link(reverse("batches:formula", args=[record.pk]), record.name)


class BatchTable(tables.Table):
    """The list of batches."""

    number = tables.Column(accessor="stock__code", verbose_name="Number")
    product = tables.Column(
        accessor="formula_version__formula__name", verbose_name="Formula"
    )
    status = tables.Column(verbose_name="Status")
    on_hand = MassColumn(accessor="stock__on_hand_mg", verbose_name="On hand")
    maker = tables.Column(accessor="maker__person__name", verbose_name="Maker")
    opened_at = MomentColumn(verbose_name="Opened")
    corrected = tables.Column(
        verbose_name="Entries", accessor="corrected", orderable=False
    )

    class Meta:
        model = Batch
        fields = ()
        empty_text = "No batch here. Open one from a formula."

    def render_number(self, value: str) -> SafeString:
        """Link to the batch."""
        return link(reverse("batches:batch", args=[value]), value)

    def render_status(self, record: Batch) -> SafeString:
        """Show word and shape."""
        return status_words(record.status, record.get_status_display())

    def render_corrected(self, value: int) -> str:
        """Show how often an entry was corrected."""
        return in_words(value) or "as entered"


class FillingLotTable(tables.Table):
    """Filling lots, newest first."""

    code = tables.Column(verbose_name="Filling lot")
    product = tables.Column(
        accessor="batch__formula_version__product_name", verbose_name="Product"
    )
    batch = tables.Column(accessor="batch__stock__code", verbose_name="Batch")
    count = tables.Column(
        verbose_name="Bottles",
        attrs={"td": {"class": "num"}, "th": {"class": "num"}},
    )
    nominal_ul = tables.Column(verbose_name="Each")
    use_by = DayColumn(verbose_name="Use by")

    class Meta:
        model = FillingLot
        fields = ()
        empty_text = "Nothing is filled yet. Open a released batch to fill it."

    def render_code(self, value: str) -> SafeString:
        """Link to the filling lot."""
        return link(reverse("batches:filling_lot", args=[value]), value)

    def render_nominal_ul(self, value: int) -> str:
        """Show the volume."""
        return volume(value)


class BottleTable(tables.Table):
    """Bottles of a filling lot."""

    number = tables.Column(verbose_name="Bottle")
    code = tables.Column(verbose_name="Code")
    status = tables.Column(verbose_name="Status")
    consignee = tables.Column(
        accessor="consignee__name", default="", verbose_name="Went to"
    )

    class Meta:
        model = Bottle
        fields = ()
        empty_text = "No bottle here."

    def render_code(self, value: str) -> SafeString:
        """Link to the bottle."""
        return link(reverse("quality:bottle", args=[value]), grouped(value))

    def render_status(self, record: Bottle) -> SafeString:
        """Show word and shape."""
        return status_words(record.status, record.get_status_display())


class DispatchTable(tables.Table):
    """What left, newest first."""

    code = tables.Column(verbose_name="Dispatch")
    consignee = tables.Column(accessor="consignee__name", verbose_name="To")
    bottles = tables.Column(
        verbose_name="Bottles",
        attrs={"td": {"class": "num"}, "th": {"class": "num"}},
    )
    observed_at = MomentColumn(verbose_name="When")
    person = tables.Column(accessor="entered_by__person__name", verbose_name="By")
    taken_back = tables.Column(
        accessor="taken_back__reason", default="", verbose_name="Taken back"
    )

    class Meta:
        model = Dispatch
        fields = ()
        empty_text = "Nothing has left yet."

    def render_code(self, value: str) -> SafeString:
        """Link to the dispatch."""
        return link(reverse("batches:dispatch", args=[value]), value)

    def render_taken_back(self, record: Dispatch, value: str) -> str:
        """Say by whom and why it was taken back: it never left."""
        return f"never sent: {value} ({record.taken_back.entered_by.person.name})"
