"""Rename the rate counters."""

from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [("core", "0006_passkeys")]

    operations = [
        migrations.RenameModel("Tally", "RateCounter"),
        migrations.RenameField("ratecounter", "number", "count"),
    ]
