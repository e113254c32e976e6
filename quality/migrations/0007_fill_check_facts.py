from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("quality", "0006_recall_steps"),
    ]

    operations = [
        migrations.AddField(
            model_name="fillcheck",
            name="facts",
            field=models.JSONField(
                blank=True, null=True, verbose_name="what else was so"
            ),
        ),
    ]
