"""What steps use up becomes rows that link to materials; the old text is kept until filled in."""

import django.db.models.deletion
from django.db import migrations, models


def columns(step):
    return [
        ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
        ("quantity", models.DecimalField(decimal_places=4, help_text="In the material's unit.", max_digits=12)),
        ("material", models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name="+", to="shop.material")),
        ("step", models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name="materials", to=step)),
    ]


def positive(name):
    return models.CheckConstraint(
        condition=models.Q(("quantity__gt", 0)),
        name=name,
        violation_error_message="quantity must be above 0.",
    )


class Migration(migrations.Migration):
    dependencies = [
        ("planning", "0034_replacement_decisions"),
        ("shop", "0025_lot_codes_in_characters"),
    ]

    operations = [
        migrations.RenameField("pourstep", "materials", "materials_as_text"),
        migrations.RenameField("routestep", "materials", "materials_as_text"),
        migrations.CreateModel(
            name="PourStepMaterial",
            fields=columns("planning.pourstep"),
            options={
                "ordering": ["step", "id"],
                "constraints": [
                    models.UniqueConstraint(fields=("step", "material"), name="pourstepmaterial_once"),
                    positive("pourstepmaterial_quantity_positive"),
                ],
            },
        ),
        migrations.CreateModel(
            name="RouteStepMaterial",
            fields=[
                *columns("planning.routestep"),
                ("per", models.CharField(choices=[("tool", "Each tool"), ("m2", "Each m² of release area")], default="tool", max_length=4)),
            ],
            options={
                "ordering": ["step", "id"],
                "constraints": [
                    models.UniqueConstraint(fields=("step", "material", "per"), name="routestepmaterial_once"),
                    positive("routestepmaterial_quantity_positive"),
                ],
            },
        ),
    ]
