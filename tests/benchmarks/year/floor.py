"""The floor: what people do by the confirmed plan, entered in the product as they do it."""

from __future__ import annotations

import random
from collections import Counter
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from planning.batches.models import Batch, BatchStatus
from planning.clocks.half_poured import end_as_poured, half_poured
from planning.cures.actions import demould
from planning.pours.models import Pour, PourStep
from planning.pours.steps import sign_step
from planning.weigh_in.actions import record_entry, record_weighing
from shared.errors import ShopError
from tests.benchmarks.year.book import Book
from tests.benchmarks.year.shop import Shop

DEAD_AFTER = timedelta(minutes=3)
OPEN = (BatchStatus.PLANNED, BatchStatus.WEIGHING, BatchStatus.WEIGHED, BatchStatus.MIXING)


@dataclass
class Floor:
    """Plays the plan from one minute to another; `tally` counts what happened."""

    shop: Shop
    clock: Any
    scrap_share: float
    tally: Counter[str] = field(default_factory=Counter)
    news: list[str] = field(default_factory=list)
    """What happened that the plan did not foresee."""
    tried: set[tuple[datetime, str, int]] = field(default_factory=set)
    """What was done or refused, by the time it was planned for: it is not tried again."""

    @property
    def book(self) -> Book:
        return self.shop.book

    def end_half_poured(self, now: datetime) -> None:
        """Let lifts end at what is in them where the pot for the rest was lost."""
        for pour in Pour.objects.filter(order__site=self.shop.site, status="pouring"):
            half = half_poured(pour)
            if half is None:
                continue
            lift = end_as_poured(pour=pour, reason="its pot was lost", now=now)
            self.book.pours[pour.pk].cast.append(
                (float(lift.depth_mm), float(lift.mass_kg), half.poured_at)
            )
            self.tally["lifts ended half poured"] += 1

    def play(self, start: datetime, until: datetime) -> datetime:
        """Do what is planned from `start` on; stop early when a new plan is needed."""
        for planned, kind, key in self._agenda(start, until):
            if (planned, kind, key) in self.tried:
                continue
            self.tried.add((planned, kind, key))
            at = self.clock.now = max(planned, self.clock.now)
            self.news = []
            getattr(self, f"_{kind}")(key, at)
            if self.news:
                return at
        return until

    def _agenda(self, start: datetime, until: datetime) -> list[tuple[datetime, str, int]]:
        found = []
        for row in Batch.objects.filter(site=self.shop.site, status__in=OPEN):
            found += [
                (row.planned_start, "weigh", row.pk),
                (row.planned_contact, "contact", row.pk),
                (row.planned_pour_end, "poured", row.pk),
            ]
        steps = PourStep.objects.filter(
            pour__order__site=self.shop.site, done_at__isnull=True, planned_end__gt=start,
            planned_end__lte=until,
        )  # fmt: skip
        found += [(step.planned_end, "sign", step.pk) for step in steps]
        order = {"sign": 0, "poured": 1, "contact": 2, "weigh": 3}
        found = [one for one in found if start < one[0] <= until]
        return sorted(found, key=lambda one: (one[0], order[one[1]], one[2]))

    def _weigh(self, key: int, at: datetime) -> None:
        batch = Batch.objects.get(pk=key)
        if batch.status != BatchStatus.PLANNED:
            return
        for line in batch.lines.order_by("pk"):
            try:
                record_weighing(
                    line=line, weighed_kg=line.target_kg, key=f"w{line.pk}", at=at, now=at
                )
            except ShopError as error:
                self._refused(f"batch {batch.number} at weighing: {error}")
                return
            can = self.book.cans[line.container_id]
            can.kg -= float(line.target_kg)
            can.opened = can.opened or at
        self.tally["weighed"] += 1

    def _contact(self, key: int, at: datetime) -> None:
        batch = Batch.objects.get(pk=key)
        if batch.status not in (BatchStatus.WEIGHING, BatchStatus.WEIGHED):
            return
        try:
            record_entry(batch=batch, kind="contact", key=f"c{key}", at=at, now=at)
        except ShopError as error:
            self._refused(f"batch {batch.number} at contact: {error}")
            self._dead(batch, at)
            return
        self.tally["contact"] += 1
        if random.Random(f"{at}/{key}").random() < self.scrap_share:
            self._dead(batch, at + DEAD_AFTER)

    def _dead(self, batch: Batch, at: datetime) -> None:
        self.clock.now = at
        record_entry(
            batch=batch, kind="scrapped", key=f"s{batch.pk}", at=at, now=at, words="it died"
        )
        self.tally["pots scrapped"] += 1
        self.news.append(f"Pot {batch.number} was scrapped")

    def _poured(self, key: int, at: datetime) -> None:
        batch = Batch.objects.get(pk=key)
        if batch.status != BatchStatus.MIXING:
            return
        try:
            record_entry(batch=batch, kind="poured", key=f"p{key}", at=at, now=at)
        except ShopError as error:
            self._refused(f"batch {batch.number} at pouring: {error}")
            self._dead(batch, at)
            return
        self.tally["poured"] += 1
        for portion in batch.portions.select_related("lift"):
            lift = portion.lift
            rows = list(lift.portions.all())
            whole = abs(sum(float(p.kg) for p in rows) - float(lift.mass_kg)) < 0.01
            if whole and all(p.poured_at is not None for p in rows):
                last = max(p.poured_at for p in rows)
                one = self.book.pours[lift.pour_id]
                one.cast.append((float(lift.depth_mm), float(lift.mass_kg), last))

    def _sign(self, key: int, at: datetime) -> None:
        step = PourStep.objects.select_related("pour__order__site").get(pk=key)
        if step.done_at is not None or step.pour.status == "cancelled":
            return
        try:
            if step.phase == "after" and step.pour.status == "curing":
                self._take_off(step.pour, at)
            elif step.phase != "after" or step.pour.status == "demoulded":
                sign_step(step=step, at=at, now=at, took_min=step.hands_min)
            else:
                self.tally["steps left for a pour not cast"] += 1
                return
        except ShopError as error:
            self._refused(f"{step.name} of {step.pour}: {error}")
            return
        self.tally["signed"] += 1
        if step.phase == "after":
            self._finish(step.pour_id, step.pk, at)

    def _finish(self, pour_id: int, step_id: int, at: datetime) -> None:
        one = self.book.pours[pour_id]
        steps = list(PourStep.objects.filter(pour=pour_id, phase="after").order_by("order"))
        if steps[-1].pk == step_id:
            begin = max(at, steps[-1].oven_start or at)
            one.done_at = begin + timedelta(minutes=one.after[-1].wait_min)
            self.tally["pours done"] += 1

    def _take_off(self, pour: Pour, at: datetime) -> None:
        try:
            demould(pour=pour, key=f"d{pour.pk}", at=at, now=at, verdict="accept")
        except ShopError as error:
            self.tally["taken off on a hardness, not on its clock"] += 1
            if error.code != "not_cured":
                raise
            demould(
                pour=pour, key=f"d{pour.pk}", at=at, now=at, verdict="accept",
                early_reason="hardness measured, as the sheet asks",
            )  # fmt: skip

    def _refused(self, words: str) -> None:
        self.tally["refused on the floor"] += 1
        self.news.append(words[:300])
