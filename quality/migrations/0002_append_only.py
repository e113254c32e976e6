"""Records are added, never changed or deleted: the database itself says so."""

from django.db import migrations

from producer.append_only import AppendOnly

class Migration(migrations.Migration):
    """Triggers on every table of records."""

    dependencies = [("quality", "0001_initial")]

    operations = [
        AppendOnly("Limit"),
        AppendOnly("Signature"),
        AppendOnly("Judgement"),
        AppendOnly("RecallItem"),
        AppendOnly("RecallEvent"),
    ]
