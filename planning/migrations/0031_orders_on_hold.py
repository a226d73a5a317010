import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('planning', '0030_tell_pot_life'),
    ]

    operations = [
        migrations.AddField(
            model_name='toolorder',
            name='copy_of',
            field=models.ForeignKey(blank=True, editable=False, help_text='The order of which this is one more piece.', null=True, on_delete=django.db.models.deletion.PROTECT, related_name='copies', to='planning.toolorder'),
        ),
        migrations.AddField(
            model_name='toolorder',
            name='held_at',
            field=models.DateTimeField(blank=True, editable=False, help_text='On hold since then: nothing is planned.', null=True),
        ),
        migrations.AddField(
            model_name='toolorder',
            name='held_reason',
            field=models.CharField(blank=True, editable=False, max_length=200),
        ),
        migrations.AddConstraint(
            model_name='toolorder',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('held_at__isnull', True), ('held_reason', '')), models.Q(('held_at__isnull', False), models.Q(('held_reason', ''), _negated=True)), _connector='OR'), name='toolorder_held_with_a_reason', violation_error_message='A hold needs a reason.'),
        ),
    ]
