"""Give each site a number that no other shop has."""

from uuid import uuid4

from django.db import migrations, models


def number_sites(apps, schema_editor):
    sites = apps.get_model("shared", "Site").objects
    for pk in sites.values_list("pk", flat=True):
        sites.filter(pk=pk).update(uid=uuid4())


class Migration(migrations.Migration):
    dependencies = [("shared", "0012_second_step")]

    operations = [
        migrations.AddField("site", "uid", models.UUIDField(null=True, editable=False)),
        migrations.RunPython(number_sites, migrations.RunPython.noop),
        migrations.AlterField(
            "site",
            "uid",
            models.UUIDField(
                default=uuid4,
                unique=True,
                editable=False,
                help_text="The same nowhere else: RFC 9562.",
            ),
        ),
    ]
