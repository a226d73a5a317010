import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

from shared import append_only


class Migration(migrations.Migration):

    dependencies = [
        ('planning', '0031_orders_on_hold'),
        ('shared', '0005_roles_for_all_sites'),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name='OrderEvent',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('sequence', models.PositiveIntegerField()),
                ('kind', models.CharField(choices=[('order_taken', 'Taken in'), ('order_changed', 'Changed'), ('quantity_changed', 'Quantity changed'), ('order_held', 'Put on hold'), ('order_released', 'Released from hold'), ('order_cancelled', 'Cancelled'), ('pour_planned', 'Planned'), ('date_moved', 'Date moved'), ('pour_taken_out', 'Taken out of the plan'), ('late_foreseen', 'Foreseen to be late')], max_length=20)),
                ('reason', models.CharField(blank=True, max_length=200)),
                ('payload', models.JSONField(default=dict)),
                ('at', models.DateTimeField()),
            ],
            options={
                'ordering': ['order', 'sequence'],
            },
        ),
        migrations.AddField(
            model_name='orderevent',
            name='by',
            field=models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL),
        ),
        migrations.AddField(
            model_name='orderevent',
            name='order',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='events', to='planning.toolorder'),
        ),
        migrations.AddField(
            model_name='orderevent',
            name='pour',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='events', to='planning.pour'),
        ),
        migrations.AddField(
            model_name='orderevent',
            name='site',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shared.site'),
        ),
        migrations.AddIndex(
            model_name='orderevent',
            index=models.Index(fields=['site', 'id'], name='orderevent_by_site'),
        ),
        migrations.AddConstraint(
            model_name='orderevent',
            constraint=models.UniqueConstraint(fields=('order', 'sequence'), name='orderevent_sequence_once'),
        ),
        migrations.AddConstraint(
            model_name='orderevent',
            constraint=models.CheckConstraint(condition=models.Q(('sequence__gte', 1)), name='orderevent_sequence_from_1'),
        ),
        append_only.operation("planning_orderevent"),
    ]
