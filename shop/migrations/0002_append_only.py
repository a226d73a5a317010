from django.db import migrations

from shared import append_only


class Migration(migrations.Migration):
    dependencies = [("shop", "0001_initial")]
    operations = [append_only.operation("shop_movement", "shop_toolevent")]
