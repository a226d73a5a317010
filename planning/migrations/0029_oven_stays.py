import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    """When a casting went into an oven and came out."""

    dependencies = [
        ("planning", "0028_night_minimum"),
        ("shared", "0005_roles_for_all_sites"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]
    operations = [
        migrations.CreateModel(
            name='OvenStay',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('set_c', models.DecimalField(decimal_places=1, max_digits=4, verbose_name='oven set to, °C')),
                ('in_at', models.DateTimeField()),
                ('out_at', models.DateTimeField(editable=False, null=True)),
                ('key', models.CharField(max_length=120, unique=True)),
                ('recorded_at', models.DateTimeField()),
                ('wrong_reason', models.CharField(blank=True, editable=False, help_text='Why it was not so and does not count.', max_length=200)),
                ('wrong_at', models.DateTimeField(editable=False, null=True)),
                ('version', models.PositiveIntegerField(default=1, editable=False)),
            ],
            options={
                'ordering': ['in_at', 'id'],
            },
        ),
        migrations.AddField(
            model_name='ovenstay',
            name='by',
            field=models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL),
        ),
        migrations.AddField(
            model_name='ovenstay',
            name='out_by',
            field=models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL),
        ),
        migrations.AddField(
            model_name='ovenstay',
            name='pour',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='oven_stays', to='planning.pour'),
        ),
        migrations.AddField(
            model_name='ovenstay',
            name='wrong_by',
            field=models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL),
        ),
        migrations.AddConstraint(
            model_name='ovenstay',
            constraint=models.CheckConstraint(condition=models.Q(('set_c__gte', 25), ('set_c__lte', 150)), name='ovenstay_set_c_25_to_150', violation_error_message='set_c must be 25 to 150 °C.'),
        ),
        migrations.AddConstraint(
            model_name='ovenstay',
            constraint=models.CheckConstraint(condition=models.Q(('out_at__isnull', True), ('out_at__gte', models.F('in_at')), _connector='OR'), name='ovenstay_out_after_in', violation_error_message='out_at must not be before in_at.'),
        ),
        migrations.AddConstraint(
            model_name='ovenstay',
            constraint=models.UniqueConstraint(condition=models.Q(('out_at__isnull', True), ('wrong_at__isnull', True)), fields=('pour',), name='ovenstay_one_open'),
        ),
    ]
