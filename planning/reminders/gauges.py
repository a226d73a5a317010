"""What waits on the planning side: plans to be worked out, reminders to be sent."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from django.db.models import Count, Min

from planning.reminders.models import Delivery, DeliveryState, Heartbeat
from planning.reminders.sweep import HEARTBEAT
from planning.schedule.models import PlanState, WeekPlan
from shared.gauges import Gauge, age_s


def planning_gauges(now: datetime) -> Iterator[Gauge]:
    """Yield the figures."""
    plans = WeekPlan.objects.filter(state__in=[PlanState.WAITING, PlanState.SOLVING])
    row = plans.aggregate(count=Count("pk"), oldest=Min("asked_at"))
    yield Gauge("shop_plans_waiting", "Plans asked for and not ready.", row["count"])
    yield Gauge(
        "shop_plans_waiting_seconds",
        "How long the oldest of them waits.",
        age_s(now, row["oldest"]),
    )
    waiting = Delivery.objects.filter(
        state__in=[DeliveryState.WAITING, DeliveryState.CLAIMED, DeliveryState.SENDING],
        try_at__lte=now,
    )
    row = waiting.aggregate(count=Count("pk"), oldest=Min("try_at"))
    yield Gauge("shop_reminders_to_send", "Messages that are due and not sent.", row["count"])
    yield Gauge(
        "shop_reminders_to_send_seconds",
        "How late the oldest of them is.",
        age_s(now, row["oldest"]),
    )
    failed = Delivery.objects.filter(state=DeliveryState.FAILED).count()
    yield Gauge("shop_reminders_failed", "Messages that could not be sent.", failed)
    beat = Heartbeat.objects.filter(name=HEARTBEAT).first()
    yield Gauge(
        "shop_reminders_round_age_seconds",
        "Since a worker last went round the reminders; -1 when none ever did.",
        age_s(now, beat.at) if beat else -1,
    )
