import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

from shared import append_only


class Migration(migrations.Migration):
    """How a temperature was entered, and which were wrong; columns that may be empty only."""

    dependencies = [
        ("planning", "0021_weighing_amendments"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]
    operations = [
        migrations.AddField(
            "temperaturereading",
            "fahrenheit",
            models.DecimalField(
                decimal_places=1, help_text="As read, where it was given in °F.",
                max_digits=5, null=True, blank=True,
            ),
        ),
        migrations.AddField(
            "temperaturereading",
            "height_mm",
            models.DecimalField(
                decimal_places=1, help_text="Of a core sensor above the base of its lift.",
                max_digits=7, null=True, blank=True,
            ),
        ),
        migrations.AddField(
            "temperaturereading",
            "confirmed_at",
            models.DateTimeField(
                editable=False, help_text="When it was said to be really so.", null=True
            ),
        ),
        migrations.AlterField(
            "temperaturereading",
            "where",
            models.CharField(
                choices=[
                    ("air", "Shop air"),
                    ("oven", "Oven"),
                    ("surface", "Surface"),
                    ("core", "Core of the casting"),
                ],
                default="air",
                max_length=8,
            ),
        ),
        migrations.CreateModel(
            "WrongReading",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("reason", models.CharField(max_length=200)),
                ("at", models.DateTimeField()),
                (
                    "by",
                    models.ForeignKey(
                        null=True, on_delete=django.db.models.deletion.PROTECT,
                        related_name="+", to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "reading",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT, related_name="wrong",
                        to="planning.temperaturereading",
                    ),
                ),
            ],
        ),
        append_only.operation("planning_temperaturereading", "planning_wrongreading"),
    ]
