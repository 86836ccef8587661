from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("jobs", "0002_steel_state")]

    operations = [
        migrations.AddField(
            model_name="building",
            name="change_number",
            field=models.PositiveBigIntegerField(
                default=0,
                help_text="Counts the changes that an evaluation has to see.",
            ),
        ),
        migrations.AddField(
            model_name="building",
            name="evaluated_change",
            field=models.PositiveBigIntegerField(
                default=0, help_text="The last change that an evaluation has seen."
            ),
        ),
    ]
