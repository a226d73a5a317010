"""
Turn the text of what steps use up into rows, and back.

A row that names no material any more, or no quantity, can't become a link. Its words go where
people read them, to the remark of a pour's step or the source of a route's, so nothing is lost.
"""

from decimal import Decimal, InvalidOperation

from django.db import migrations

STEP = Decimal("0.0001")
MOST = Decimal(10) ** 8
WORDS = "Also uses {}; enter its material again."


def fill(apps, schema_editor):
    get = apps.get_model
    codes = dict(get("shop", "Material").objects.values_list("code", "pk"))
    folded = {}
    for code, pk in codes.items():
        folded.setdefault(code.casefold(), []).append(pk)
    ids = {code: pks[0] for code, pks in folded.items() if len(pks) == 1}
    rows = get("planning", "RouteStepMaterial").objects
    for step in get("planning", "RouteStep").objects.exclude(materials_as_text=[]).iterator():
        used, lost = read(step.materials_as_text, codes, ids)
        for (material_id, per), quantity in used.items():
            rows.create(step=step, material_id=material_id, quantity=quantity, per=per)
        tell(step, "source", lost)
    rows = get("planning", "PourStepMaterial").objects
    steps = get("planning", "PourStep").objects.exclude(materials_as_text=[])
    for step in steps.select_related("pour").iterator():
        used, lost = read(step.materials_as_text, codes, ids)
        for material_id in dict.fromkeys(pk for pk, _ in used):
            total = used.get((material_id, "tool"), Decimal(0))
            by_area = used.get((material_id, "m2"), Decimal(0))
            # What is signed was issued without its area; what is to be done is for the area.
            area = 1 if step.done_at else (step.pour.release_area_m2 or 1)
            total = (total + by_area * area).quantize(STEP)
            if 0 < total < MOST:
                rows.create(step=step, material_id=material_id, quantity=total)
        tell(step, "remark", lost)


def read(text, codes, ids):
    """Return quantities by material and what they are for, and the rows that name neither."""
    used, lost = {}, []
    for row in text if isinstance(text, list) else [text]:
        try:
            code = str(row["material"])
            key = codes.get(code, ids.get(code.casefold())), "m2" if row.get("per") == "m2" else "tool"
            quantity = Decimal(str(row["quantity"])).quantize(STEP)
            total = used.get(key, Decimal(0)) + quantity
            good = key[0] is not None and quantity > 0 and total < MOST
        except (TypeError, KeyError, AttributeError, InvalidOperation):
            good = False
        if good:
            used[key] = total
        else:
            lost.append(row)
    return used, lost


def tell(step, field, lost):
    if not lost:
        return
    named = ", ".join(
        f"{row.get('quantity', '?')} of {row.get('material', '?')}" if isinstance(row, dict) else str(row)
        for row in lost
    )
    words = f"{getattr(step, field)} {WORDS.format(named)}".strip()
    setattr(step, field, words[: step._meta.get_field(field).max_length])
    step.save(update_fields=[field])


def write_back(apps, schema_editor):
    for name in ("RouteStep", "PourStep"):
        steps = apps.get_model("planning", name).objects
        for step in steps.filter(materials__isnull=False).distinct():
            step.materials_as_text = [
                {
                    "material": row.material.code,
                    "quantity": format(row.quantity.normalize(), "f"),
                    "per": getattr(row, "per", "tool"),
                }
                for row in step.materials.select_related("material").order_by("pk")
            ]
            step.save(update_fields=["materials_as_text"])


class Migration(migrations.Migration):
    dependencies = [("planning", "0035_rows_of_step_materials")]

    operations = [migrations.RunPython(fill, write_back)]
