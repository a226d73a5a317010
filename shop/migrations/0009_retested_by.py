import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
        ("shop", "0008_expiry_note"),
    ]

    operations = [
        migrations.AddField(
            model_name="lot",
            name="retested_by",
            field=models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.SET_NULL,
                related_name="+",
                to=settings.AUTH_USER_MODEL,
            ),
        ),
        migrations.AlterField(
            model_name="lot",
            name="expiry_note",
            field=models.CharField(
                blank=True,
                help_text="What the expiry was before it was put right.",
                max_length=500,
            ),
        ),
    ]
