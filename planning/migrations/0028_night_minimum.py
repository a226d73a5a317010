from django.db import migrations, models


class Migration(migrations.Migration):
    """The coldest that a site gets at night."""

    dependencies = [
        ("planning", "0027_clocks_with_both_sides"),
    ]
    operations = [
        migrations.AddField(
            model_name='planningrules',
            name='night_c',
            field=models.DecimalField(decimal_places=1, help_text='Coldest the shop gets at night: where nobody read the air, cures are timed as if it had been so cold. Empty: 8 K below the temperature expected.', max_digits=4, null=True),
        ),
        migrations.AddConstraint(
            model_name='planningrules',
            constraint=models.CheckConstraint(condition=models.Q(('night_c__isnull', True), models.Q(('night_c__gte', -20), ('night_c__lte', 40)), _connector='OR'), name='planningrules_night_c_sense', violation_error_message='night_c must be -20 to 40 °C.'),
        ),
    ]
