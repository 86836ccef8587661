"""Rename fields and models, and give the steps of a finding a code."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("checks", "0005_signed_with")]

    operations = [
        migrations.RemoveConstraint("finding", "checks_finding_closed_says_why"),
        migrations.RemoveConstraint(
            "photograph", "checks_photograph_of_a_finding_or_of_work"
        ),
        migrations.RemoveConstraint(
            "photograph", "checks_photograph_digests_are_sha256"
        ),
        migrations.RenameModel("CarriedOut", "WorkReport"),
        migrations.RenameField("finding", "severity", "approval"),
        migrations.RenameField("finding", "closing", "closed_reason"),
        migrations.RenameField("decision", "basis", "snapshot"),
        migrations.RenameField("photograph", "sent", "request_digest"),
        migrations.RenameField("photograph", "carried_out", "work_report"),
        migrations.AddField(
            "findingevent",
            "code",
            models.CharField(blank=True, default="", max_length=20),
        ),
    ]
