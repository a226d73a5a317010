"""A site works by one plan; the rows were made so by the migration before this one."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("planning", "0017_keep_the_plan_confirmed_last")]

    operations = [
        migrations.AddConstraint(
            model_name="weekplan",
            constraint=models.UniqueConstraint(
                condition=models.Q(("state", "confirmed")),
                fields=("site",),
                name="weekplan_one_confirmed",
            ),
        ),
    ]
