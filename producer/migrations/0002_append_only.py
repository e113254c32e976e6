"""Records are added, never changed or deleted: the database itself says so."""

from django.db import migrations

from producer.append_only import AppendOnly


def start_journal(apps, schema_editor):
    """Make the one row that ends the chain."""
    apps.get_model("producer", "JournalHead").objects.get_or_create(pk=1)


class Migration(migrations.Migration):
    """Triggers on every table of records."""

    dependencies = [("producer", "0001_initial")]

    operations = [
        migrations.RunPython(start_journal, migrations.RunPython.noop),
        AppendOnly("StockMovement"),
        AppendOnly("LotStatusChange"),
        AppendOnly("Attachment"),
        AppendOnly("Certificate"),
        AppendOnly("JournalEntry"),
    ]
