from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("shop", "0026_supplier_terms"),
    ]

    operations = [
        migrations.AddField(
            model_name='cataloguerules',
            name='orders_by_two',
            field=models.BooleanField(default=False, help_text='Who writes a purchase order does not approve it.'),
        ),
    ]
