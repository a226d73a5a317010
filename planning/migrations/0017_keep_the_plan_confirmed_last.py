"""A site works by one plan: of several confirmed weeks the plan confirmed last stays so."""

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from django.db import migrations, models


def keep_the_last(apps, schema_editor):
    """Batches, lifts and steps of every week stay as they are; they are rows of their own."""
    plans = apps.get_model("planning", "WeekPlan").objects
    confirmed = plans.filter(state="confirmed").order_by("site_id", "-confirmed_at", "-pk")
    kept = set()
    for plan in confirmed.select_related("site"):
        if plan.site_id in kept:
            plans.filter(pk=plan.pk).update(state="replaced", version=models.F("version") + 1)
        kept.add(plan.site_id)
    for plan in plans.filter(confirmed_at__isnull=False).select_related("site").iterator():
        days = worked_days(plan)
        if days:
            plans.filter(pk=plan.pk).update(first_day=days[0], last_day=days[-1])


def worked_days(plan):
    if not plan.plan or not plan.problem:
        return []
    origin = datetime.fromisoformat(plan.problem["origin"])
    zone = ZoneInfo(plan.site.time_zone)
    work = [*plan.plan.get("batches", []), *plan.plan.get("tasks", [])]
    minutes = [one[name] for one in work for name in ("start_min", "end_min")]
    return sorted({(origin + timedelta(minutes=m)).astimezone(zone).date() for m in minutes})


class Migration(migrations.Migration):
    dependencies = [("planning", "0017_what_a_plan_rests_on")]

    operations = [
        migrations.RemoveConstraint(model_name="weekplan", name="weekplan_one_confirmed"),
        migrations.RunPython(keep_the_last, migrations.RunPython.noop),
    ]
