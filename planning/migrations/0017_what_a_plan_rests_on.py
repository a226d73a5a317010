from django.db import migrations, models
import django.db.models.deletion


class Migration(migrations.Migration):
    dependencies = [("planning", "0016_printed_steps_and_ovens")]

    operations = [
        migrations.AddField(
            model_name="weekplan",
            name="own_settings",
            field=models.BooleanField(
                default=True, help_text="Given with the question; otherwise the site's rules hold."
            ),
        ),
        migrations.AddField(
            model_name="weekplan",
            name="based_on",
            field=models.ForeignKey(
                editable=False,
                help_text="The plan the site worked by when this one was made.",
                null=True,
                on_delete=django.db.models.deletion.SET_NULL,
                related_name="+",
                to="planning.weekplan",
            ),
        ),
        migrations.AddField(
            model_name="weekplan",
            name="first_day",
            field=models.DateField(editable=False, help_text="First day with work.", null=True),
        ),
        migrations.AddField(
            model_name="weekplan",
            name="last_day",
            field=models.DateField(editable=False, help_text="Last day with work.", null=True),
        ),
    ]
