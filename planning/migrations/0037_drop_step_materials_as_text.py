"""What steps use up stands in rows now; its old text goes."""

from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [("planning", "0036_fill_step_materials")]

    operations = [
        migrations.RemoveField("pourstep", "materials_as_text"),
        migrations.RemoveField("routestep", "materials_as_text"),
    ]
