"""The audit says what was done in the word people use."""

from django.db import migrations


class Migration(migrations.Migration):

    dependencies = [
        ("shared", "0005_roles_for_all_sites"),
    ]

    operations = [
        migrations.RenameField("auditentry", "deed", "action"),
    ]
