from django.db import migrations

from shared import append_only


def forget(apps, editor):
    append_only.remove(editor.connection, "planning_orderevent")
    if editor.connection.vendor == "postgresql":
        editor.execute("DROP FUNCTION IF EXISTS planning_orderevent_append_only()")


def put_back(apps, editor):
    append_only.install(editor.connection, "planning_orderevent")


class Migration(migrations.Migration):

    dependencies = [('planning', '0040_order_events_to_the_one_outbox')]

    operations = [
        migrations.RunPython(forget, put_back),
        migrations.DeleteModel(name='OrderEvent'),
    ]
