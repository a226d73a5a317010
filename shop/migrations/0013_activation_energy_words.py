
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('shop', '0012_issues_name_their_use'),
    ]

    operations = [
        migrations.AlterField(
            model_name='resinsystem',
            name='activation_kj_mol',
            field=models.DecimalField(blank=True, decimal_places=2, help_text='Empty: the stricter of 46 and 73 kJ/mol is taken, each way.', max_digits=6, null=True),
        ),
    ]
