"""A row of a batch names its component as the resin system does."""

from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('planning', '0043_stirred_and_mixed'),
    ]

    operations = [
        migrations.AlterField(
            model_name='batchline',
            name='role',
            field=models.CharField(help_text='resin, hardener, or as the system names it.', max_length=20),
        ),
    ]
