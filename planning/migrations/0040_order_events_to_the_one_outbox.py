from uuid import uuid4

from django.db import migrations

KINDS = {
    "order_taken": "order.taken",
    "order_changed": "order.changed",
    "quantity_changed": "order.quantity_changed",
    "order_held": "order.held",
    "order_released": "order.released",
    "order_cancelled": "order.cancelled",
    "pour_planned": "pour.planned",
    "date_moved": "pour.date_moved",
    "pour_taken_out": "pour.taken_out",
    "late_foreseen": "pour.late_foreseen",
}
A_CHUNK = 1000


def move(apps, editor):
    """Keep every event, in the order it was written and with its number."""
    old = apps.get_model("planning", "OrderEvent")
    event = apps.get_model("shared", "Event")
    chunk, last = [], {}
    for row in old.objects.order_by("pk").select_related("order").iterator(A_CHUNK):
        payload = {k: v for k, v in row.payload.items() if k != "kind"}
        payload["object"] = {"kind": "order", "id": str(row.order_id)}
        reference = row.order.customer_reference
        last[row.order_id] = (row.site_id, row.sequence)
        chunk.append(
            event(
                site_id=row.site_id,
                uid=f"evt_{uuid4().hex}",
                kind=KINDS[row.kind],
                object_kind="order",
                object_id=str(row.order_id),
                sequence=row.sequence,
                reference=reference,
                reason=row.reason,
                payload=payload,
                at=row.at,
                by_id=row.by_id,
            )
        )
        if len(chunk) == A_CHUNK:
            keep(apps, chunk)
            chunk = []
    keep(apps, chunk)
    numbered = apps.get_model("shared", "NumberedObject")
    numbered.objects.bulk_create(
        [
            numbered(site_id=site, object_kind="order", object_id=str(order), last=sequence)
            for order, (site, sequence) in last.items()
        ],
        batch_size=A_CHUNK,
    )


def keep(apps, chunk):
    made = apps.get_model("shared", "Event").objects.bulk_create(chunk)
    unplaced = apps.get_model("shared", "UnplacedEvent")
    unplaced.objects.bulk_create([unplaced(event_id=row.pk) for row in made])


class Migration(migrations.Migration):

    dependencies = [
        ('planning', '0039_clocks_with_edges'),
        ('shared', '0008_events'),
    ]

    operations = [migrations.RunPython(move, migrations.RunPython.noop)]
