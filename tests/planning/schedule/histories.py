"""Random histories of confirming: two planners, and a shop that changes between them."""

from __future__ import annotations

import random
from collections import Counter
from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from planning.batches.models import Batch
from planning.pours.actions import change_pour
from planning.pours.models import Pour, PourStatus
from planning.pours.order_changes import cancel_order, hold_order, release_order
from planning.schedule import actions
from shared.errors import ShopError
from shop.lots.models import LotStatus
from shop.models import Container, DayChange, Mixer, Outage, Person, Place
from tests.planning.schedule.account import faults

FIRST_DAY = date(2026, 11, 30)
REFUSALS = (actions.PlanOutOfDate, actions.PlanNotReady)


@dataclass
class History:
    """One shop over some hours; `tally` counts what was seen."""

    site: Any
    take: Any
    now: Any
    seed: int
    tally: Counter = field(default_factory=Counter)

    def __post_init__(self) -> None:
        self.random = random.Random(self.seed)
        self.orders = 0
        self.let_go: set[int] = set()

    def run(self, rounds: int) -> Counter:
        for _ in range(self.random.randint(2, 4)):
            self.new_order()
        for _ in range(rounds):
            self.one_round()
            self.now += timedelta(minutes=self.random.randint(1, 20))
        return self.tally

    def one_round(self) -> None:
        self.let_go = set()
        plans = [self.ask() for _ in range(self.random.choice([1, 1, 2]))]
        changes = self.random.choice([0, 0, 1, 1, 2])
        for _ in range(changes):
            self.change()
        confirmed = 0
        for plan in self.random.sample(plans, len(plans)):
            confirmed += self.confirm(plan, undisturbed=changes == 0 and plan is plans[-1])
        assert confirmed <= 1, f"seed {self.seed}: two plans of one question were confirmed"

    def ask(self) -> Any:
        wish = actions.request_plan(site=self.site, week="2026-W49", now=self.now, seconds=0.5)
        return actions.solve(plan_id=wish.pk, now=self.now)

    def confirm(self, plan: Any, *, undisturbed: bool) -> bool:
        planned = set(self.planned())
        rows = self.rows()
        done, refusal = self.answer(plan)
        if refusal is not None:
            self.tally[f"refused: {refusal}"] += 1
            assert self.rows() == rows, f"seed {self.seed}: refused, and yet written"
            may = refusal in ("nothing_placed", "newer_plan", "plan_not_ready")
            assert may or not undisturbed, f"seed {self.seed}: refused though nothing changed"
            return False
        self.tally["confirmed"] += 1
        wrong = faults(self.site, self.now)
        assert wrong == [], f"seed {self.seed}: {wrong}"
        named = {int(one["pour"]) for one in done.plan["unplaced"]}
        lost = planned - set(self.planned()) - named - self.let_go
        assert not lost, f"seed {self.seed}: confirmed pours {lost} are lost"
        return True

    def answer(self, plan: Any) -> tuple[Any, str | None]:
        try:
            return actions.confirm(plan=plan, now=self.now), None
        except REFUSALS as error:
            return None, error.code

    def planned(self) -> Any:
        rows = Pour.objects.filter(order__site=self.site, status=PourStatus.PLANNED)
        return rows.values_list("pk", flat=True)

    def rows(self) -> list[Any]:
        batches = Batch.objects.filter(site=self.site).order_by("pk")
        return [*batches.values_list("pk", "number", "planned_start", "mixer"), *self.planned()]

    def change(self) -> None:
        what = self.random.choice(
            [self.ill, self.mixer_out, self.place_out, self.pour_changed, self.lot_held,
             self.cancelled, self.held, self.released, self.new_order, self.late]
        )  # fmt: skip
        try:
            what()
        except ShopError as error:
            self.tally[f"not done: {error.code}"] += 1
        else:
            self.tally[what.__name__] += 1

    def ill(self) -> None:
        person = self.random.choice(list(Person.objects.filter(site=self.site)))
        for n in range(self.random.randint(1, 3)):
            DayChange.objects.create(person=person, day=FIRST_DAY + timedelta(days=n))

    def late(self) -> None:
        person = self.random.choice(list(Person.objects.filter(site=self.site)))
        DayChange.objects.create(person=person, day=FIRST_DAY, starts="00:00", ends="11:00")

    def mixer_out(self) -> None:
        self.out(mixer=self.random.choice(list(Mixer.objects.filter(site=self.site))))

    def place_out(self) -> None:
        self.out(place=self.random.choice(list(Place.objects.filter(site=self.site))))

    def out(self, **thing: Any) -> None:
        starts = self.now + timedelta(hours=self.random.randint(0, 30))
        ends = starts + timedelta(hours=self.random.randint(1, 12))
        Outage.objects.create(site=self.site, starts_at=starts, ends_at=ends, **thing)

    def open_pour(self) -> Any:
        rows = Pour.objects.filter(order__site=self.site, order__status="open")
        found = list(rows.filter(status__in=[PourStatus.ASKED, PourStatus.PLANNED]))
        return self.random.choice(found) if found else self.new_order()

    def pour_changed(self) -> None:
        changes = self.random.choice(
            [{"depth_mm": Decimal(self.random.randint(20, 60))}, {"priority": 5},
             {"due_on": FIRST_DAY + timedelta(days=self.random.randint(1, 9))}]
        )  # fmt: skip
        pour = self.open_pour()
        planned = set(self.planned())
        change_pour(pour=pour, changes=changes, now=self.now)
        self.let_go |= planned - set(self.planned())

    def lot_held(self) -> None:
        can = self.random.choice(list(Container.objects.filter(lot__site=self.site)))
        can.lot.status = self.random.choice([LotStatus.HELD, LotStatus.RELEASED])
        can.lot.save()

    def cancelled(self) -> None:
        self.leaving(cancel_order)

    def held(self) -> None:
        self.leaving(hold_order, reason="wait")

    def leaving(self, button: Any, **more: Any) -> None:
        planned = set(self.planned())
        button(order=self.open_pour().order, now=self.now, **more)
        self.let_go |= planned - set(self.planned())

    def released(self) -> None:
        release_order(order=self.open_pour().order, now=self.now)

    def new_order(self) -> Any:
        self.orders += 1
        return self.take(
            f"H-{self.seed}-{self.orders}",
            due_in_days=self.random.randint(1, 9),
            depth_mm=str(self.random.choice([25, 30, 45, 60])),
            length_mm=str(self.random.choice([150, 200, 300])),
        )
