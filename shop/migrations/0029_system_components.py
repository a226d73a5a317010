"""A resin system may have filler, accelerator and pigment beside resin and hardener."""

import django.core.validators
import django.db.models.deletion
from decimal import Decimal
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('shop', '0028_stir_again_after'),
    ]

    operations = [
        migrations.AlterField(
            model_name='material',
            name='kind',
            field=models.CharField(choices=[('resin', 'Resin'), ('hardener', 'Hardener'), ('filler', 'Filler'), ('accelerator', 'Accelerator'), ('pigment', 'Pigment'), ('release_agent', 'Release agent'), ('sealer', 'Sealer'), ('barrier', 'Barrier'), ('adhesive', 'Adhesive'), ('consumable', 'Consumable')], max_length=16),
        ),
        migrations.CreateModel(
            name='SystemComponent',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('order', models.PositiveSmallIntegerField(default=1, help_text='The hardener is weighed last.', verbose_name='weighed after the resin, as number')),
                ('name', models.CharField(help_text='Such as filler.', max_length=20, validators=[django.core.validators.RegexValidator('^[a-z][a-z0-9 -]*\\Z', 'Write the name in small letters, digits, spaces and hyphens, such as filler.')])),
                ('per_100', models.DecimalField(decimal_places=4, help_text='Parts per hundred resin (phr).', max_digits=8, verbose_name='parts by mass to 100 of resin')),
                ('tolerance_percent', models.DecimalField(decimal_places=2, default=Decimal('2'), max_digits=5, verbose_name='may be off by, %')),
                ('source', models.CharField(help_text='Where these values stand.', max_length=200)),
                ('version', models.PositiveIntegerField(default=1, editable=False)),
                ('material', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shop.material')),
                ('system', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='further', to='shop.resinsystem')),
            ],
            options={
                'ordering': ['system', 'order', 'id'],
                'constraints': [models.UniqueConstraint(fields=('system', 'name'), name='systemcomponent_name_once', violation_error_message='The system has a component of this name already.'), models.UniqueConstraint(fields=('system', 'material'), name='systemcomponent_material_once', violation_error_message='The system has this material already.'), models.CheckConstraint(condition=models.Q(('per_100__gt', 0), ('tolerance_percent__gt', 0), ('tolerance_percent__lte', 50)), name='systemcomponent_values_in_range', violation_error_message='per_100 must be above 0 parts, and tolerance_percent above 0 and at most 50 %%.'), models.CheckConstraint(condition=models.Q(('name__in', ('resin', 'hardener')), _negated=True), name='systemcomponent_name_of_its_own', violation_error_message='Resin and hardener are columns of the system itself.')],
            },
        ),
    ]
