from collections import defaultdict

from django.db import migrations

STRICTEST = ("held", "quarantine", "released", "finished")


def put_together(apps, editor):
    """Make one lot of those whose codes differ in case only: the strictest state, first expiry."""
    lots = apps.get_model("shop", "Lot").objects
    containers = apps.get_model("shop", "Container").objects
    alike = defaultdict(list)
    for lot in lots.order_by("pk"):
        alike[lot.site_id, lot.material_id, lot.supplier_id, lot.code.upper()].append(lot)
    for first, *others in alike.values():
        for other in others:
            containers.filter(lot=other).update(lot=first)
            first.status, first.status_reason = min(
                ((lot.status, lot.status_reason) for lot in (first, other)),
                key=lambda pair: STRICTEST.index(pair[0]),
            )
            days = [lot.expires_on for lot in (first, other) if lot.expires_on]
            first.expires_on = min(days, default=None)
            first.made_on = first.made_on or other.made_on
            if first.expires_on and first.made_on and first.expires_on < first.made_on:
                first.made_on = None
            note = f"put together with lot {other.code}, which expired {other.expires_on}"
            first.expiry_note = f"{first.expiry_note}; {note}".removeprefix("; ")[:500]
            if not first.certificate and not first.certificate_file:
                first.certificate = other.certificate
                first.certificate_file = other.certificate_file
            first.mixed = first.mixed or other.mixed
            first.version += 1
            other.delete()
        if others:
            first.save()


class Migration(migrations.Migration):
    dependencies = [("shop", "0015_used_reservations")]
    operations = [migrations.RunPython(put_together, migrations.RunPython.noop)]
