from django.db import migrations, models


class Migration(migrations.Migration):
    """Best and careful times of each cure; what is stored stays until it is asked again."""

    dependencies = [
        ("planning", "0026_mix_and_mould_temperatures"),
    ]
    operations = [
        migrations.AddField(
            model_name='cure',
            name='asks',
            field=models.JSONField(default=list, help_text='Readings and events that would help.'),
        ),
        migrations.AddField(
            model_name='cure',
            name='attend_until',
            field=models.DateTimeField(help_text='Somebody stays until then.', null=True),
        ),
        migrations.AddField(
            model_name='cure',
            name='changes',
            field=models.PositiveIntegerField(default=0, editable=False),
        ),
        migrations.AddField(
            model_name='cure',
            name='closes_best_at',
            field=models.DateTimeField(null=True),
        ),
        migrations.AddField(
            model_name='cure',
            name='cured_best_at',
            field=models.DateTimeField(null=True),
        ),
        migrations.AddField(
            model_name='cure',
            name='cured_due_at',
            field=models.DateTimeField(help_text='Cured, cool or not; careful. It makes sense to measure from then on.', null=True),
        ),
        migrations.AddField(
            model_name='cure',
            name='demould_best_at',
            field=models.DateTimeField(null=True),
        ),
        migrations.AddField(
            model_name='cure',
            name='holes',
            field=models.JSONField(default=list, help_text='Where nobody read the air: from_h, to_h, counted_c.'),
        ),
        migrations.AddField(
            model_name='cure',
            name='left_out',
            field=models.PositiveIntegerField(default=0, help_text='Readings that no room, oven or casting can have had.'),
        ),
        migrations.AddField(
            model_name='cure',
            name='looked_at',
            field=models.DateTimeField(help_text='The moment it was worked out for. Empty: to be worked out again.', null=True),
        ),
        migrations.AddField(
            model_name='cure',
            name='opens_best_at',
            field=models.DateTimeField(null=True),
        ),
        migrations.AddField(
            model_name='cure',
            name='peak_best_at',
            field=models.DateTimeField(help_text='Hottest about then.', null=True),
        ),
        migrations.AddField(
            model_name='cure',
            name='ranged',
            field=models.BooleanField(default=False, help_text='Little is known: show the ranges.'),
        ),
        migrations.AddField(
            model_name='cure',
            name='ranges',
            field=models.JSONField(default=dict, help_text='Of each time, hours from pouring.'),
        ),
        migrations.AddField(
            model_name='cure',
            name='waits_for',
            field=models.CharField(blank=True, choices=[('cool_reading', 'A reading that shows it is cool'), ('out_of_oven', 'It is in the oven'), ('stalled', 'Too cold to cure through'), ('not_known', 'Not known')], help_text='Why demoulding has no time.', max_length=12),
        ),
        migrations.AlterField(
            model_name='cure',
            name='demould_due_at',
            field=models.DateTimeField(help_text='Cured and cool; careful. Empty: see waits_for.', null=True),
        ),
        migrations.AlterField(
            model_name='cure',
            name='next_closes_at',
            field=models.DateTimeField(help_text='Bonding until then; careful.', null=True),
        ),
        migrations.AlterField(
            model_name='cure',
            name='next_opens_at',
            field=models.DateTimeField(help_text='Gelled and cool enough to bear the next lift; careful.', null=True),
        ),
        migrations.AlterField(
            model_name='cure',
            name='peak_due_at',
            field=models.DateTimeField(help_text='Past its hottest for sure.', null=True),
        ),
        migrations.AddConstraint(
            model_name='cure',
            constraint=models.CheckConstraint(condition=models.Q(('waits_for', ''), ('demould_due_at__isnull', True), _connector='OR'), name='cure_waits_without_a_time'),
        ),
    ]
