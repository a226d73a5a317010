"""A year, or a part of one, of an invented shop: one arm, day by day."""

from __future__ import annotations

import random
import time as real_time
from collections import Counter, defaultdict
from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Any
from unittest import mock

from django.test import Client

from planning.pours.models import Pour, PourStep
from planning.schedule import actions
from planning.schedule.comparison import compared_now
from planning.schedule.models import PlanState, WeekPlan
from planning.shop_changes.actions import ask_mended
from shared.errors import ShopError
from shared.units import week_of
from tests.benchmarks.year import judge
from tests.benchmarks.year.arms import arm_of
from tests.benchmarks.year.book import ZONE, at_clock
from tests.benchmarks.year.events import Events
from tests.benchmarks.year.floor import Floor
from tests.benchmarks.year.shop import deliver, make_shop

DAWN, NIGHT = 330, 1410
PAGES_AHEAD = 3


class Clock:
    """The simulated clock: the product asks it for the time."""

    def __init__(self, now: datetime) -> None:
        self.now = now

    def __call__(self) -> datetime:
        return self.now


@dataclass
class Tally:
    """What an arm showed."""

    plans: int = 0
    faults: list[str] = field(default_factory=list)
    moved: dict[date, int] = field(default_factory=lambda: defaultdict(int))
    counts: Counter[str] = field(default_factory=Counter)
    slowest_s: float = 0.0
    plan_s: float = 0.0


class Year:
    """One arm: the same shop and the same events for the same seed, planned in one way."""

    def __init__(
        self, first: date, *, seed: int, pours_a_week: int, seconds: float, arm: str = "kept",
        tell: Callable[[str], None] = lambda words: None,
    ) -> None:  # fmt: skip
        self.clock = Clock(at_clock(first, DAWN))
        self.first, self.seconds, self.arm, self.tell = first, seconds, arm, tell
        self.seed, self.pours_a_week = seed, pours_a_week
        self.anew = False
        self.tally = Tally()

    def run(self, weeks: int) -> Tally:
        """Play so many weeks."""
        with ExitStack() as stack:
            stack.enter_context(mock.patch("shared.clock.now", self.clock))
            stack.enter_context(arm_of(self.arm, lambda: self.anew))
            self.shop = make_shop(self.clock.now, self.seed, self.pours_a_week)
            self.book = self.shop.book
            self.events = Events(self.shop)
            self.floor = Floor(self.shop, self.clock, 0.015)
            self.page = Client(raise_request_exception=True)
            self.page.force_login(
                self.shop.user, backend="django.contrib.auth.backends.ModelBackend"
            )
            deliver(self.shop, self.clock.now, 1.0)
            for n in range(7 * weeks):
                day = self.first + timedelta(days=n)
                if day.isoweekday() <= 5:
                    self._day(day)
        return self.tally

    def _day(self, day: date) -> None:
        now = self.clock.now = at_clock(day, DAWN)
        self.floor.end_half_poured(now)
        news = self.events.morning(now)
        self._look_at_pages("before the mended plan")
        self._plan(now, "; ".join(news) or "a new day", anew=day.isoweekday() == 1)
        noon = at_clock(day, random.Random(f"{self.seed}/{day}").randrange(540, 780))
        self._play(now, noon)
        self.clock.now = noon
        news = self.events.midday(noon)
        if news:
            self._look_at_pages("before the mended plan")
            self._plan(noon, "; ".join(news))
        self._play(noon, at_clock(day, NIGHT))
        self.tell(
            f"{day} {len(list(self.book.open_pours()))} open, {self.tally.plans} plans, "
            f"{self.tally.plan_s:.0f} s planning, {len(self.tally.faults)} faults"
        )

    def _play(self, start: datetime, until: datetime) -> None:
        while (reached := self.floor.play(start, until)) < until:
            self.tell("; ".join(self.floor.news))
            self.clock.now = now = max(reached, self.clock.now) + timedelta(minutes=1)
            self._look_at_pages("before the mended plan")
            self._plan(now, "; ".join(self.floor.news))
            start = reached - timedelta(minutes=1)  # what fell due meanwhile is done as well

    def _plan(self, now: datetime, why: str, anew: bool = False) -> None:
        before, self.anew = self._items(), anew
        begun = real_time.monotonic()
        plan = ask_mended(site=self.shop.site, reason=why[:200], now=now)
        # The worker comes to the newest only; those asked for a moment before are overtaken.
        WeekPlan.objects.filter(state=PlanState.WAITING).exclude(pk=plan.pk).delete()
        WeekPlan.objects.filter(pk=plan.pk).update(seconds=self.seconds)
        try:
            plan = actions.solve(plan_id=plan.pk, now=now)
            if plan.state == PlanState.BROKEN:
                self._fault(f"plan broken: {plan.error}")
                return
            if not (plan.plan or {}).get("lifts"):
                self.tally.counts["nothing to plan"] += 1
                return
            actions.confirm(plan=plan, now=now, seen=compared_now(plan)[1])
        except ShopError as error:
            self._fault(f"not confirmed: {error}")
            return
        took = real_time.monotonic() - begun
        self.tally.plans += 1
        self.tally.plan_s += took
        self.tally.slowest_s = max(self.tally.slowest_s, took)
        self._judge(plan, before)

    def _judge(self, plan: WeekPlan, before: dict[Any, datetime]) -> None:
        stands = judge.Plan(self.shop.site, self.clock.now)
        plan.refresh_from_db()
        stands.named = named = {int(one["pour"]): one for one in plan.plan["unplaced"]}
        for words in judge.wrongs(self.book, stands):
            self._fault(words)
        for key, one in named.items():
            if self.book.pours[key].cast or self.book.pours[key].promised:
                self.tell(f"{judge.local(self.clock.now)} {key} without a place: {one['words']}")
        for key, one in self.book.pours.items():
            there = key in stands.pours
            if one.promised and one.wanted and one.done_at is None and not there:
                is_off = Pour.objects.filter(pk=key, status="demoulded").exists()
                if not is_off and key not in named:
                    self._fault(f"pour {key} was confirmed and is lost")
                if key in named:
                    self.tally.counts["confirmed pours named as without a place"] += 1
            one.promised = there
        after = self._items()
        moved = {
            key for key, start in before.items()
            if after.get(key) != start and self.book.pours[key[1]].wanted
        }  # fmt: skip
        today = self.clock.now.astimezone(ZONE).date()
        self.tally.moved[today - timedelta(days=today.weekday())] += len(moved)
        self.tally.counts["pours without a place, summed"] += len(named)
        self._look_at_pages("just confirmed", stands)

    def _items(self) -> dict[Any, datetime]:
        """Return when each lift and step begins that is planned and not begun."""
        from planning.batches.models import Lift

        found: dict[Any, datetime] = {}
        lifts = Lift.objects.filter(pour__order__site=self.shop.site, pour__status="planned")
        for pour, number, start in lifts.values_list("pour", "number", "planned_start"):
            found["lift", pour, number] = start
        steps = PourStep.objects.filter(
            pour__order__site=self.shop.site, planned_start__gt=self.clock.now,
            done_at__isnull=True,
        ).exclude(phase="between")  # fmt: skip
        for pk, pour, start in steps.values_list("pk", "pour", "planned_start"):
            found["step", pour, pk] = start
        return {key: at for key, at in found.items() if at > self.clock.now}

    def _look_at_pages(self, when: str, stands: judge.Plan | None = None) -> None:
        stands = stands or judge.Plan(self.shop.site, self.clock.now)
        today = self.clock.now.astimezone(ZONE).date()
        said: dict[int, bool] = {}
        for n in range(PAGES_AHEAD):
            answer = self.page.get(f"/week/{week_of(today + timedelta(days=7 * n))}/")
            if answer.status_code != 200:
                self._fault(f"the Week page answers {answer.status_code}")
                return
            said |= judge.shown_in_time(answer.content.decode())
        for key, in_time in said.items():
            one = self.book.pours[key]
            end = one.done_at or (stands.ends(key, one) if key in stands.pours else None)
            if end is None and not one.wanted and in_time:
                self._fault(f"{when}: a page says 'In time' of pour {key}, which nobody wants")
            elif end is None and in_time:
                status = Pour.objects.get(pk=key).status
                self._fault(f"{when}: 'In time' of pour {key} ({status}), which has no end")
            elif end is not None and in_time and end > one.due_at:
                self._fault(
                    f"{when}: 'In time' of pour {key}, done {judge.local(end)}, due {one.due}"
                )
            elif end is not None and not in_time and end <= one.due_at:
                self.tally.counts[f"{when}: said late, is in time"] += 1

    def _fault(self, words: str) -> None:
        self.tally.faults.append(f"{judge.local(self.clock.now)} {words}")
        if len(self.tally.faults) <= 400:
            self.tell(f"FAULT {self.tally.faults[-1]}")
