from django.db import migrations

from shared import append_only


class Migration(migrations.Migration):
    dependencies = [("planning", "0002_initial")]
    operations = [
        append_only.operation(
            "planning_weighing", "planning_batchentry", "planning_temperaturereading"
        )
    ]
