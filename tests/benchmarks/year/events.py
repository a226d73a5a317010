"""What happens to the shop: orders, changes, absences, breakdowns and deliveries, by chance."""

from __future__ import annotations

import random
from collections import Counter
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

from planning.pours.actions import change_pour
from planning.pours.models import Pour
from planning.pours.order_changes import cancel_order, change_order, hold_order, release_order
from planning.shop_changes.actions import report
from shared.errors import ShopError
from shop import stores
from tests.benchmarks.year.book import ZONE, Asked
from tests.benchmarks.year.shop import Shop, deliver, new_order

DAY: tuple[int, int] = (0, 1440)


class Events:
    """Draws what happens and enters it: in the record first, then in the product."""

    def __init__(self, shop: Shop) -> None:
        self.shop, self.rng, self.book = shop, shop.random, shop.book
        self.seed = shop.random.random()
        self.tally: Counter[str] = Counter()
        self.on_hold: dict[int, date] = {}
        self.late_delivery: datetime | None = None

    def chance(self, a_week: float) -> bool:
        """Say whether something happens today that happens so often a week in a shop of 60."""
        return self.rng.random() < a_week / 5

    def draw_anew(self, now: datetime) -> None:
        """Draw from a source of its own, so that each arm has the same events at a time."""
        self.rng = self.shop.random = random.Random(f"{self.seed}/{now:%Y-%m-%d %p}")

    def morning(self, now: datetime) -> list[str]:
        """Enter what is known before work begins; return it in words."""
        self.draw_anew(now)
        today = now.astimezone(ZONE).date()
        news = [*self._deliveries(now, today)]
        self._orders(now, today)
        for key, until in list(self.on_hold.items()):
            if until <= today:
                self._release(key, now)
        for key in self.book.people:
            if self.rng.random() < 0.02:
                news.append(self._sick(key, now, today, self.rng.choice((1, 1, 2, 3)), 0))
        news += self._changes(now, today)
        return news

    def midday(self, now: datetime) -> list[str]:
        """Enter what comes up during the day; empty on most days."""
        self.draw_anew(now)
        today = now.astimezone(ZONE).date()
        news = []
        if self.chance(0.6):
            key = self.rng.choice(list(self.book.people))
            minute = now.astimezone(ZONE).hour * 60 + now.astimezone(ZONE).minute
            news.append(self._sick(key, now, today, 1, minute))
        if self.chance(0.5):
            news.append(self._breaks(now, "mixer"))
        if self.chance(0.2):
            news.append(self._breaks(now, "place"))
        if self.chance(1.5 * self.shop.size):
            due = later(today, self.rng.choice((2, 2, 3)))
            new_order(self.shop, now, due, 3)
            self.tally["rush orders"] += 1
            news.append("A rush order came in")
        return [one for one in news if one]

    def _orders(self, now: datetime, today: date) -> None:
        left = self.shop.size * 12 * self.rng.uniform(0.8, 1.2)
        while left > 0.5:
            lead = self.rng.choice((3, 4, 5, 5, 6, 7, 8))
            pair = left > 1.5 and self.rng.random() < 0.25
            made = new_order(
                self.shop, now, later(today, lead), self.rng.choice((1, 1, 1, 2, 3)), pair=pair
            )
            self.tally["pours ordered"] += len(made)
            left -= len(made)

    def _deliveries(self, now: datetime, today: date) -> list[str]:
        if today.isoweekday() == 1:
            if self.rng.random() < 0.12:
                self.late_delivery = now + timedelta(days=self.rng.choice((1, 2, 3)))
                self.tally["deliveries late"] += 1
            else:
                deliver(self.shop, now, 1.0)
        if self.late_delivery is not None and now >= self.late_delivery:
            self.late_delivery = None
            deliver(self.shop, now, 1.0)
            return ["A late delivery has come"]
        return []

    def _sick(self, key: int, now: datetime, today: date, days: int, minute: int) -> str:
        hand = self.book.people[key]
        if minute:
            hand.away.setdefault(today, []).append((minute, 1440))
            starts, ends = now.astimezone(ZONE).time(), datetime.max.time().replace(microsecond=0)
            what = stores.ShopChange("absence", person=key, day=today, starts=starts, ends=ends)
        else:
            last = today + timedelta(days=days - 1)
            for n in range(days):
                hand.away.setdefault(today + timedelta(days=n), []).append(DAY)
            what = stores.ShopChange("absence", person=key, day=today, until_day=last)
        self.tally["absences"] += 1
        return self._report(what, now)

    def _breaks(self, now: datetime, kind: str) -> str:
        things = self.book.mixers if kind == "mixer" else self.book.places
        key = self.rng.choice([k for k, one in things.items() if one.kind != "bench"])
        ends = now + timedelta(hours=self.rng.choice((3, 6, 20, 44)))
        things[key].out.append((now, ends))
        self.tally[f"{things[key].kind}s out of use"] += 1
        fields: dict[str, Any] = {kind: key}
        return self._report(
            stores.ShopChange("out_of_use", starts_at=now, ends_at=ends, **fields), now
        )

    def _report(self, what: stores.ShopChange, now: datetime) -> str:
        told = report(site=self.shop.site, what=what, now=now)
        self.tally["rules broken by what was reported"] += len(told.breaks.broken)
        return told.reported.words

    def _pick(self) -> tuple[int, Asked] | None:
        found = [(key, one) for key, one in self.book.open_pours() if not one.cast]
        return self.rng.choice(found) if found else None

    def _changes(self, now: datetime, today: date) -> list[str]:
        size, news = self.shop.size, []
        ways = ((3.0, self._other_day), (1.5, self._other_size), (1.5, self._cancel),
                (0.7, self._hold))  # fmt: skip
        for often, way in ways:
            picked = self._pick()
            if picked is not None and self.chance(often * size):
                try:
                    words = way(*picked, now, today)
                except ShopError as error:
                    self.tally[f"not done: {error.code}"] += 1
                    continue
                self.tally[words] += 1
                news.append(f"{picked[1].number}: {words}")
        return news

    def _other_day(self, key: int, one: Asked, now: datetime, today: date) -> str:
        due = later(today, self.rng.choice((2, 3, 4, 6, 8)))
        order = Pour.objects.get(pk=key).order
        before = {k: x for k, x in self.book.pours.items()
                  if x.number == one.number and x.due == order.due_on and not x.cast}  # fmt: skip
        change_order(order=order, changes={"due_on": due}, now=now, reason="customer asked")
        for asked in before.values():
            asked.due = due
        return "other due date"

    def _other_size(self, key: int, one: Asked, now: datetime, today: date) -> str:
        pour = Pour.objects.get(pk=key)
        depth = self.rng.choice([d for d in (30, 40, 50, 60, 90) if d != one.depth_mm])
        change_pour(pour=pour, changes={"depth_mm": Decimal(depth)}, now=now, reason="new drawing")
        one.kg, one.depth_mm = one.kg * depth / one.depth_mm, depth
        self._left_plan(key)
        return "other size"

    def _cancel(self, key: int, one: Asked, now: datetime, today: date) -> str:
        cancel_order(order=Pour.objects.get(pk=key).order, now=now, reason="no longer wanted")
        for other, asked in self.book.pours.items():
            if asked.number == one.number and not asked.cast and asked.done_at is None:
                asked.wanted = False
                self._left_plan(other)
        return "cancelled"

    def _hold(self, key: int, one: Asked, now: datetime, today: date) -> str:
        order = Pour.objects.get(pk=key).order
        if self._halves_cast(one):
            return "hold given up"
        hold_order(order=order, reason="drawing unclear", now=now)
        for other, asked in self.book.pours.items():
            if asked.number == one.number:
                asked.wanted = False
                self._left_plan(other)
        self.on_hold[order.pk] = later(today, self.rng.choice((1, 2, 3)))
        return "put on hold"

    def _halves_cast(self, one: Asked) -> bool:
        from planning.batches.models import Batch

        keys = [k for k, x in self.book.pours.items() if x.number == one.number]
        begun = Batch.objects.filter(portions__lift__pour__in=keys).exclude(status="planned")
        return begun.exists()

    def _release(self, order_id: int, now: datetime) -> None:
        from planning.pours.models import ToolOrder

        del self.on_hold[order_id]
        order = ToolOrder.objects.get(pk=order_id)
        release_order(order=order, now=now)
        for key in Pour.objects.filter(order=order).values_list("pk", flat=True):
            self.book.pours[key].wanted = True

    def _left_plan(self, key: int) -> None:
        """What leaves the plan on somebody's word is not lost; those it takes along neither."""
        self.book.pours[key].promised = False


def later(day: date, workdays: int) -> date:
    """Return the day so many working days later."""
    while workdays > 0:
        day += timedelta(days=1)
        workdays -= day.isoweekday() <= 5
    return day
