"""The gaps between the lifts of each pour, by the clocks that those lifts will have."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta
from decimal import Decimal

from planning.clocks.forecast import Forecast, NotWorkedOut, next_lift
from planning.clocks.gather import night_c
from planning.core import plan as core
from planning.core import problem as given
from planning.core.batches import usable_batches_kg
from planning.core.lifts import NoLifts, split
from planning.core.solver.gaps import same_mm
from planning.pours.models import Pour
from shop.stores_types import SystemInfo

SPAN_DAYS = 3
"""So many days after it was poured a lift may still wait for its clock: the coldest and the
warmest of them count."""
SPARE_MIN = 5
"""Minutes over what the clock says: who comes then asks with other readings of the air."""
NEVER_MIN = 1_000_000
"""Of a lift whose clock would not open by the air alone: no plan is as long."""


@dataclass(frozen=True)
class Lower:
    """A lift that another one is to follow; numbered from 0."""

    number: int
    depth_mm: float
    mass_kg: float
    told: tuple[int, int] | None = None
    """The gap over it as the confirmed plan has it; None: it is in none."""


def with_openings(
    problem: core.Problem,
    pours: Iterable[Pour],
    systems: Mapping[int, SystemInfo],
    starts: Mapping[date, int],
    expected_c: Mapping[date, Decimal],
    *,
    work_out: bool,
) -> core.Problem:
    """
    Return a problem in which each pour of several lifts has the gaps of its own clocks.

    Without `work_out` nobody is kept waiting: of a lift that was not asked about before, the gap
    holds that the confirmed plan has.
    """
    rows = {str(pour.pk): pour for pour in pours}
    nights: dict[int, float | None] = {}

    def filled(one: given.Pour) -> given.Pour:
        pour = rows[one.id]
        info, site_id = systems[pour.system_id], pour.order.site_id
        mix_min = next(s.mix_min for s in problem.systems if s.id == one.system)
        openings = []
        for lower in _lowers(problem, one, pour, cut=work_out):
            if site_id not in nights:
                nights[site_id] = night_c(site_id)
            asked = (pour, info, lower, nights[site_id], mix_min)
            try:
                openings += list(_over(asked, starts, expected_c, work_out))
            except NotWorkedOut:
                first = min(starts.values())
                openings.append(
                    given.Opening(lower.number, lower.depth_mm, first, *(lower.told or (0, 0)))
                )
        return replace(one, openings=tuple(openings))

    return replace(problem, pours=tuple(filled(one) for one in problem.pours))


def _lowers(problem: core.Problem, one: given.Pour, pour: Pour, *, cut: bool) -> list[Lower]:
    """
    Return the lifts of a pour that are not poured and that others follow.

    Those that are planned and, with `cut`, those that it would be cut into now.
    """
    stored = sorted(pour.lifts.all(), key=lambda lift: lift.number)
    poured = sum(hasattr(lift, "cure") for lift in stored)
    found = [
        Lower(
            lift.number - 1,
            float(lift.depth_mm),
            float(lift.mass_kg),
            (lift.gap_least_min, lift.gap_greatest_min),
        )
        for lift in stored[:-1]
    ]
    for lift in _cut(problem, one)[:-1] if cut else ():
        if not any(x.number == lift.lift and same_mm(x.depth_mm, lift.depth_mm) for x in found):
            found.append(Lower(lift.lift, lift.depth_mm, lift.mass_kg))
    return [lower for lower in found if lower.number >= poured]


def _cut(problem: core.Problem, one: given.Pour) -> tuple[core.Lift, ...]:
    """Return the lifts that the planner will cut a pour into."""
    system = next(s for s in problem.systems if s.id == one.system)
    sizes = usable_batches_kg(problem, system)
    done = [lift for lift in problem.frozen.lifts if lift.pour == one.id]
    done.sort(key=lambda lift: lift.lift)
    try:
        return split(one, system, problem.settings, sizes[0], tuple(done)) if sizes else ()
    except NoLifts:
        return ()  # the planner says so


def _over(
    asked: tuple[Pour, SystemInfo, Lower, float | None, int],
    starts: Mapping[date, int],
    expected_c: Mapping[date, Decimal],
    work_out: bool,
) -> Iterator[given.Opening]:
    """
    Return the openings over a lift from each midnight on which they change.

    A gap ends with the first drop of the lift above, and the gate is asked before its pot is
    mixed: the time to mix is part of it.
    """
    pour, info, lower, night, mix_min = asked
    by_temp: dict[Decimal, Forecast | None] = {}
    last = None
    for day, minute in sorted(starts.items(), key=lambda item: item[1]):
        days = (day + timedelta(days=n) for n in range(SPAN_DAYS + 1))
        temps = {expected_c[one] for one in days if one in expected_c}
        for shop_c in temps - set(by_temp):
            by_temp[shop_c] = next_lift(
                pour, info, lower.number + 1, lower.depth_mm, lower.mass_kg, float(shop_c), night,
                work_out=work_out,
            )  # fmt: skip
        found = [by_temp[shop_c] for shop_c in temps]
        known = [one for one in found if one is not None]
        opens = NEVER_MIN
        if len(known) == len(found):
            opens = max(one.opens_min for one in known) + mix_min + SPARE_MIN
        closes = min((one.closes_min for one in known), default=-1)
        gap = opens, closes if closes >= opens else opens - 1
        if gap != last:
            yield given.Opening(lower.number, lower.depth_mm, minute, *gap)
        last = gap
