from django.db import migrations, models
from django.db.models import F, Q, Value
from django.db.models.functions import Concat

from shared import append_only

NAMED = ("batch:", "pour:", "tool:", "other:")


def name_free_uses(apps, editor):
    """Put `other:` before uses in free text; no figure changes, so the triggers step aside."""
    append_only.remove(editor.connection, "shop_movement")
    movements = apps.get_model("shop", "Movement").objects
    wanted = Q(kind="issue") | Q(kind="reversal", reverses__kind="issue")
    for beginning in NAMED:
        wanted &= ~Q(counterpart__startswith=beginning)
    ids = list(movements.filter(wanted).values_list("pk", flat=True))
    for start in range(0, len(ids), 500):
        rows = movements.filter(pk__in=ids[start : start + 500])
        rows.update(counterpart=Concat(Value("other:"), F("counterpart")))


class Migration(migrations.Migration):
    dependencies = [("shop", "0010_recalls")]
    operations = [
        migrations.AlterField(
            model_name="movement",
            name="counterpart",
            field=models.CharField(
                help_text="The other side: supplier, waste, batch:7, container:12 …",
                max_length=160,
            ),
        ),
        migrations.RunPython(name_free_uses, migrations.RunPython.noop),
        append_only.operation("shop_movement"),
    ]
