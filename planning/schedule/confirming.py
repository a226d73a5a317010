"""From a plan's values to rows: lifts, numbered batches with what to weigh, dated steps."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from decimal import Decimal
from typing import Any

from django.db.models import F, QuerySet

from planning.batches.lines import batch_lines, best_scale, exact, purpose
from planning.batches.models import Batch, BatchCounter, BatchPortion, BatchStatus, Lift
from planning.batches.paper import BATCH_PARTS, STEP_PARTS, Said, batch_says, step_says
from planning.core import plan as core
from planning.core import problem as given
from planning.core.casting.pot_life import planned_pot_life_min
from planning.core.solver.gaps import gaps_over
from planning.pours.actions import ask_for_material
from planning.pours.models import Pour, PourStatus, PourStep
from planning.routes.models import Phase
from planning.schedule.models import PlanState, WeekPlan
from planning.schedule.telling import tell_dates
from planning.schedule.week_clock import Clock
from planning.system_data import system_data
from shared.change import change
from shop import stores
from shop.stores_types import NeedRow, SystemInfo


def confirm(
    *,
    plan: WeekPlan,
    problem: core.Problem,
    answer: core.Plan,
    now: datetime,
    by: Any = None,
) -> None:
    """Write a plan's content; raises when a lot no longer holds what was planned from it."""
    writer = _Writer(plan, problem, answer, now)
    writer.clear()
    writer.write_lifts()
    for batch in answer.batches:
        if batch.id not in writer.frozen:
            writer.write_batch(batch)
    writer.write_tasks()
    writer.settle_pours()
    tell_dates(
        problem=problem,
        answer=answer,
        pours=writer.pours.values(),
        clock=writer.clock,
        reason=plan.reason,
        at=now,
        by=by,
    )


def remove_planned(batches: QuerySet[Batch], pour_ids: Iterable[int]) -> None:
    """Delete batches that never began, with their reservations, and lifts left empty."""
    keys = list(batches.values_list("pk", flat=True))
    for key in keys:
        stores.free_reservations(prefix=f"batch:{key}:")
    Batch.objects.filter(pk__in=keys).delete()
    ids = list(pour_ids)
    Lift.objects.filter(pour_id__in=ids, portions__isnull=True, cure__isnull=True).delete()
    PourStep.objects.filter(pour_id__in=ids, phase=Phase.BETWEEN, done_at__isnull=True).delete()
    PourStep.objects.filter(pour_id__in=ids, done_at__isnull=True).update(
        planned_start=None, planned_end=None, oven=None, oven_start=None, printed_at=None
    )


class _Writer:
    def __init__(
        self, plan: WeekPlan, problem: core.Problem, answer: core.Plan, now: datetime
    ) -> None:
        self.plan, self.answer, self.now = plan, answer, now
        self.clock = Clock.of(problem, plan.site)
        self.frozen = {batch.id for batch in problem.frozen.batches}
        self.pours = {
            pour.pk: pour
            for pour in Pour.objects.filter(pk__in=[int(p.id) for p in problem.pours])
            .select_related("order__site", "order__tool")
            .order_by("pk")
        }
        self.systems = {info.code: info for info in stores.systems()}
        self.conditions = {system.id: system for system in problem.systems}
        self.asked = {pour.id: (pour, self.conditions[pour.system]) for pour in problem.pours}
        self.scales = stores.site_week(plan.site_id, self.clock.first_day, 1).scales
        self.places = {stand.pour: int(stand.place) for stand in answer.stands}
        self.lifts: dict[tuple[str, int], Lift] = {}
        self.numbered: dict[str, tuple[Batch, Said]] = {}
        """Batches of an earlier plan that go on under their numbers, and what they said."""
        steps = PourStep.objects.filter(pour__in=self.pours, printed_at__isnull=False)
        self.printed = {
            step.pk: (step_says(step, self.clock.zone), step.printed_at)
            for step in steps.prefetch_related(*STEP_PARTS)
        }

    def clear(self) -> None:
        """Take away what was planned and has not begun; what goes on keeps its number."""
        going_on = self._not_begun().filter(number__in=[b.id for b in self.answer.batches])
        for batch in going_on.prefetch_related(*BATCH_PARTS):
            self.numbered[batch.number] = batch, batch_says(batch, self.clock.zone)
            stores.free_reservations(prefix=f"batch:{batch.pk}:")
            batch.portions.all().delete()
            batch.lines.all().delete()
        remove_planned(self._not_begun(), self.pours)  # what goes on has no portions any more

    def _not_begun(self) -> QuerySet[Batch]:
        """Return batches of an earlier plan that this one is to replace."""
        mine = Batch.objects.filter(
            site=self.plan.site, portions__lift__pour__in=self.pours, status=BatchStatus.PLANNED
        )
        return mine.exclude(number__in=self.frozen).distinct()

    def write_lifts(self) -> None:
        times: dict[tuple[str, int], list[core.Portion]] = {}
        for batch in self.answer.batches:
            for portion in batch.portions:
                times.setdefault((portion.pour, portion.lift), []).append(portion)
        abraded = {(t.pour, t.lift) for t in self.answer.tasks if t.kind == "abrade"}
        for lift in self.answer.lifts:
            key = (lift.pour, lift.lift)
            portions = times[key]
            end = max(p.end_min for p in portions)
            pour, system = self.asked[lift.pour]
            clocks, gap = system.at(end), gaps_over(pour, lift, system).at(end)
            self.lifts[key], _ = Lift.objects.update_or_create(
                pour_id=int(lift.pour),
                number=lift.lift + 1,
                defaults={
                    "depth_mm": Decimal(repr(lift.depth_mm)).quantize(Decimal("0.000001")),
                    "mass_kg": exact(lift.mass_kg),
                    "planned_start": self.clock.instant(min(p.start_min for p in portions)),
                    "planned_end": self.clock.instant(end),
                    "place_id": self.places.get(lift.pour),
                    "abrade_first": key in abraded,
                    "expected_c": Decimal(repr(clocks.shop_c)),
                    "attend_min": clocks.attend_min,
                    "gap_least_min": gap.least,
                    # Below the least one where it is not known to bond: no time at all.
                    "gap_greatest_min": max(0, gap.greatest),
                },
            )

    def write_batch(self, batch: core.Batch) -> None:
        info = self.systems[batch.system]
        scale = best_scale(self.scales, batch.mixed_kg)
        condition = self.conditions[batch.system].at(batch.contact_min)
        row, said = self.numbered.get(batch.id, (None, None))
        row = row or Batch(site=self.plan.site, number=_next_number(self.plan.site_id, self.now))
        planned = {
            "plan": self.plan,
            "system_id": info.id,
            "mixer_id": int(batch.mixer),
            "scale_id": None if scale is None else scale.id,
            "mixed_kg": exact(batch.mixed_kg),
            "planned_start": self.clock.instant(batch.start_min),
            "planned_contact": self.clock.instant(batch.contact_min),
            "planned_pour_start": self.clock.instant(batch.pour_start_min),
            "planned_pour_end": self.clock.instant(batch.pour_end_min),
            "planned_end": self.clock.instant(batch.end_min),
            **self._pot_life(info, batch, condition),
        }
        for name, value in planned.items():
            setattr(row, name, value)
        row.save()
        row.people.set(int(person) for person in set(batch.people))
        BatchPortion.objects.bulk_create(
            BatchPortion(
                batch=row,
                lift=self.lifts[(portion.pour, portion.lift)],
                kg=exact(portion.kg),
                order=order,
                planned_start=self.clock.instant(portion.start_min),
                planned_end=self.clock.instant(portion.end_min),
            )
            for order, portion in enumerate(batch.portions, start=1)
        )
        for line in batch_lines(row, info, scale, batch.lots, self._free_g):
            line.save()
            stores.reserve(
                container_id=line.container_id,
                quantity=line.target_kg,
                purpose=purpose(line),
                needed_at=row.planned_start,
            )
        reread = Batch.objects.prefetch_related(*BATCH_PARTS)
        if said is not None and said != batch_says(reread.get(pk=row.pk), self.clock.zone):
            row.version += 1
            row.printed_at, row.pinned = None, False
            row.save(update_fields=["version", "printed_at", "pinned"])

    def _pot_life(
        self, info: SystemInfo, batch: core.Batch, condition: given.Condition
    ) -> dict[str, Any]:
        """
        Return the pot life of a batch at its own mass, and what it rests on.

        The plan was made with that of the heaviest pot, which is no longer.
        """
        planned = [self.pours[int(portion.pour)].mix_c for portion in batch.portions]
        mix_c = max((one for one in planned if one is not None), default=None)
        shop_c = condition.shop_c
        if shop_c is None:
            return {"pot_life_min": condition.pot_life_min, "pot_life_basis": "", "mix_c": mix_c}
        found = planned_pot_life_min(
            system_data(info), shop_c, batch.mixed_kg, None if mix_c is None else float(mix_c)
        )
        life = condition.pot_life_min if found.value is None else int(found.value)
        where = f"{shop_c:g} °C expected in the shop"
        if mix_c is not None:
            where += f" and a mix planned at {mix_c.normalize():f} °C"
        basis = (
            f"computed for {batch.mixed_kg:.3g} kg at {where}"
            if found.basis == "computed"
            else f"data sheet's {info.pot_life_min:g} min at {info.reference_c:g} °C, shifted to "
            f"{where}"
        )
        return {
            "pot_life_min": life,
            "pot_life_basis": basis,
            "mix_c": mix_c,
        }

    @staticmethod
    def _free_g(container_id: int) -> Decimal:
        return 1000 * stores.container(container_id).free

    def write_tasks(self) -> None:
        for task in self.answer.tasks:
            start, end = self.clock.instant(task.start_min), self.clock.instant(task.end_min)
            if task.kind == "abrade":
                step = self._abrade_step(task)
            else:
                step = PourStep.objects.get(pk=int(task.step))
            if step is None or step.done_at is not None:
                continue
            step.planned_start, step.planned_end = start, end
            step.oven_id = int(task.oven) if task.oven else None
            load = task.oven_start_min
            step.oven_start = None if load is None else self.clock.instant(load)
            step.planned_people.set(int(person) for person in set(task.people))
            said, printed_at = self.printed.get(step.pk, (None, None))
            step.printed_at = printed_at if said == step_says(step, self.clock.zone) else None
            step.save(
                update_fields=["planned_start", "planned_end", "oven", "oven_start", "printed_at"]
            )

    def _abrade_step(self, task: core.Task) -> PourStep | None:
        assert task.lift is not None
        step, _ = PourStep.objects.get_or_create(
            pour_id=int(task.pour),
            phase=Phase.BETWEEN,
            order=task.lift + 1,
            defaults={
                "name": f"Abrade and clean before lift {task.lift + 1}",
                "hands_min": task.end_min - task.start_min,
                "source": "the recoat window of the lift below has closed by then",
            },
        )
        return step

    def settle_pours(self) -> None:
        placed = {lift.pour for lift in self.answer.lifts}
        for pour in self.pours.values():
            status = pour.status
            if status in (PourStatus.ASKED, PourStatus.PLANNED):
                status = PourStatus.PLANNED if str(pour.pk) in placed else PourStatus.ASKED
            if status != pour.status:
                change(pour, status=status)
            if status == PourStatus.PLANNED:
                stores.tool_is_casting(pour.order.tool_id)
            ask_for_material(pour)
        site_id = self.plan.site_id
        weeks = WeekPlan.objects.filter(site=site_id, state=PlanState.CONFIRMED)
        for week in set(weeks.values_list("week", flat=True)) - {self.plan.week}:
            source = f"steps:{site_id}:{week}"
            stores.replace_requirements(site_id=site_id, source=source, rows=())
        ask_for_steps(site_id, self.plan.week, self.pours.values())


def ask_for_steps(site_id: int, week: str, pours: Iterable[Pour]) -> None:
    """Tell the stores what the dated steps of pours use, in place of what was told before."""
    rows = [row for pour in pours for row in step_needs(pour)]
    stores.replace_requirements(site_id=site_id, source=f"steps:{site_id}:{week}", rows=rows)


def step_needs(pour: Pour) -> list[NeedRow]:
    """Return what the dated steps of a pour will use: release agent, barriers, consumables."""
    steps = pour.steps.filter(done_at__isnull=True, planned_start__isnull=False)
    return [
        NeedRow(row.material_id, f"{pour}: {step.name}", row.quantity, step.planned_start, True)
        for step in steps.prefetch_related("materials")
        for row in step.materials.all()
        if step.planned_start is not None
    ]


def _next_number(site_id: int, now: datetime) -> str:
    """Return a number that no batch of the site has had, such as B26-00042."""
    BatchCounter.objects.get_or_create(site_id=site_id, year=now.year)
    counter = BatchCounter.objects.filter(site_id=site_id, year=now.year)
    counter.update(last=F("last") + 1)
    return f"B{now:%y}-{counter.get().last:05d}"
