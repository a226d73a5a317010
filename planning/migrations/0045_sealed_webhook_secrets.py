from django.db import migrations

import shared.sealed


def encrypt(apps, schema_editor):
    """Write each secret again: the field encrypts what it writes."""
    for row in apps.get_model("planning", "ReminderSettings").objects.iterator():
        row.save(update_fields=["webhook_secret"])


def open_again(apps, schema_editor):
    """Write each secret in the open, as the field before this one reads it."""
    rows = apps.get_model("planning", "ReminderSettings")
    with schema_editor.connection.cursor() as cursor:
        for row in rows.objects.exclude(webhook_url=""):
            cursor.execute(
                f"UPDATE {rows._meta.db_table} SET webhook_secret = %s WHERE id = %s",
                [str(row.webhook_secret), row.pk],
            )


class Migration(migrations.Migration):
    dependencies = [
        ("planning", "0044_names_of_components"),
    ]

    operations = [
        migrations.AlterField(
            model_name="remindersettings",
            name="webhook_secret",
            field=shared.sealed.SealedField(blank=True, editable=False),
        ),
        migrations.RunPython(encrypt, open_again),
    ]
