"""Records are added, never changed or deleted: the database itself says so."""

from django.db import migrations

from producer.append_only import AppendOnly

class Migration(migrations.Migration):
    """Triggers on every table of records."""

    dependencies = [("batches", "0001_initial")]

    operations = [
        AppendOnly("BatchStatusChange"),
        AppendOnly("FormulaVersion"),
        AppendOnly("FormulaLine"),
        AppendOnly("Charge"),
        AppendOnly("BulkWeighing"),
        AppendOnly("Reading"),
        AppendOnly("FillingLot"),
        AppendOnly("Dispatch"),
        AppendOnly("BottleEvent"),
    ]
