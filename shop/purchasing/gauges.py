"""What waits in purchasing: orders on their way to a mail server."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from django.db.models import Count, Min

from shared.gauges import Gauge, age_s
from shop.purchasing.models import MailState, OrderMail


def purchasing_gauges(now: datetime) -> Iterator[Gauge]:
    """Yield the figures."""
    waiting = OrderMail.objects.filter(
        state__in=[MailState.WAITING, MailState.SENDING], try_at__lte=now
    )
    row = waiting.aggregate(count=Count("pk"), oldest=Min("asked_at"))
    yield Gauge("shop_order_mails_to_send", "Orders due by e-mail, not sent.", row["count"])
    yield Gauge(
        "shop_order_mails_to_send_seconds",
        "Since the oldest of them was asked for.",
        age_s(now, row["oldest"]),
    )
    failed = OrderMail.objects.filter(state=MailState.FAILED).count()
    yield Gauge("shop_order_mails_failed", "Orders that could not be sent.", failed)
