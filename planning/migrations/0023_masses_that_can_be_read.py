from django.db import migrations

LARGEST = "999999.9999"


def cut_to_what_can_be_read(apps, editor):
    """Cut worked-out figures that SQLite kept and nobody could read; the sizes stay as typed."""
    with editor.connection.cursor() as cursor:
        for name in ("mass_kg", "volume_l"):
            cursor.execute(
                f"UPDATE planning_pour SET {name} = {LARGEST} WHERE {name} > {LARGEST}"
            )


class Migration(migrations.Migration):
    dependencies = [("planning", "0022_readings_in_doubt")]
    operations = [migrations.RunPython(cut_to_what_can_be_read, migrations.RunPython.noop)]
