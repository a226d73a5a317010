"""Have every running clock worked out again: those before did not count the edges."""

from django.db import migrations
from django.db.models import F


def ask_again(apps, schema_editor):
    running = apps.get_model("planning", "Cure").objects.filter(done_at__isnull=True)
    running.update(looked_at=None, changes=F("changes") + 1)


class Migration(migrations.Migration):
    dependencies = [("planning", "0038_edges_of_cures")]

    operations = [migrations.RunPython(ask_again, migrations.RunPython.noop)]
