"""
An account of what is done at two pots, kept beside the product and judging what it lets through.

It shares no code with the weigh-in: it adds up what was accepted, and reads the tables only to
compare.
"""

from __future__ import annotations

import math
from collections import Counter
from copy import copy, deepcopy
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from django.db import connection
from django.db.models import QuerySet, Sum

from planning.batches.models import Batch, BatchEntry, BatchPortion, Lift, Weighing
from planning.clocks.models import Cure
from planning.pours.models import Pour, PourStep
from planning.weigh_in.models import CastingQuarantine, GateRecord, WeighingAmendment
from shared.events.models import Event
from shop.lots.models import Container, Lot
from shop.models import Movement, Reservation

ZERO = Decimal(0)
TENTH_G = Decimal("0.0001")
LATE_AFTER = timedelta(minutes=2)
STIRRED_FOR = timedelta(hours=12)
ENERGIES_J_MOL = (46_000.0, 73_000.0)
GAS_J_MOLK = 8.314462618
HOTTEST_C = 60


@dataclass
class Pot:
    """What the account holds of one batch; masses in kg by row, by can and by portion."""

    id: int
    mixed_kg: Decimal
    life_min: int
    """As planned, min."""
    printed: tuple[float, float]
    """Pot life on the data sheet, min, and the temperature that it holds at, C."""
    mix: timedelta
    """How long it is to be mixed."""
    division_kg: Decimal
    hardener_per_resin: float
    tolerance: float
    roles: dict[int, str]
    sheet: dict[int, tuple[int, Decimal]]
    """By row: its can, and its target, kg."""
    lines: list[int]
    """Its rows, in the order of the sheet."""
    portions: dict[int, tuple[int, int, Decimal]]
    """By portion: its pour, its lift's number, its mass, kg."""
    state: str = "planned"
    contact_at: datetime | None = None
    begun_at: datetime | None = None
    weighed: dict[str, list[Any]] = field(default_factory=dict)
    """By key: row, can, kg as it counts, who."""
    readings: list[tuple[datetime, float]] = field(default_factory=list)
    second_at: list[datetime] = field(default_factory=list)
    mixed_at: list[datetime] = field(default_factory=list)
    scrapped_at: datetime | None = None
    was_for: set[int] = field(default_factory=set)
    """Pours that a scrapped pot was to fill."""
    poured: dict[int, Decimal] = field(default_factory=dict)

    def row_kg(self, line: int) -> Decimal:
        return sum((kg for row, _, kg, _ in self.weighed.values() if row == line), ZERO)

    def role_kg(self, role: str) -> Decimal:
        rows = (row for row in self.roles if self.roles[row] == role)
        return sum((self.row_kg(row) for row in rows), ZERO)

    @property
    def weighed_kg(self) -> Decimal:
        return self.role_kg("resin") + self.role_kg("hardener")

    @property
    def stays_kg(self) -> Decimal:
        return max(ZERO, self.mixed_kg - sum((kg for *_, kg in self.portions.values()), ZERO))

    @property
    def poured_kg(self) -> Decimal:
        return sum(self.poured.values(), ZERO)

    def ratio_is_off(self) -> bool:
        resin, hardener = float(self.role_kg("resin")), float(self.role_kg("hardener"))
        if not resin or not hardener:
            return True
        return abs(hardener / (resin * self.hardener_per_resin) - 1) > self.tolerance + 1e-9

    def cans(self) -> set[int]:
        return {can for _, can, *_ in self.weighed.values()}

    def pour_by(self) -> datetime:
        """Return when its life ends, by the warmest of the last before contact and all after."""
        contact = self.contact_at
        assert contact is not None
        rows = sorted(self.readings, key=lambda row: row[0])
        planned = contact + timedelta(minutes=self.life_min)
        seen = [c for at, c in rows if at <= contact][-1:]
        seen += [c for at, c in rows if contact < at <= planned]
        return contact + timedelta(minutes=min(self.life_min, *map(self._life_min, seen), 10**6))

    def _life_min(self, celsius: float) -> int:
        """Return the printed pot life, shifted by whichever activation energy is the stricter."""
        minutes, at_c = self.printed
        inverse = 1 / (min(HOTTEST_C, math.ceil(celsius)) + 273.15) - 1 / (at_c + 273.15)
        return int(min(minutes * math.exp(e / GAS_J_MOLK * inverse) for e in ENERGIES_J_MOL))

    def mixed_too_short(self, at: datetime) -> bool:
        """Whether it was mixed less than asked when its first portion is poured at a time."""
        if self.contact_at is None or self.poured:
            return False
        until = max([one for one in self.mixed_at if one <= at], default=at)
        ready = self.contact_at + self.mix
        seconds = [one for one in self.second_at if one <= at]
        if seconds:
            ready = max(ready, max(seconds) + self.mix / 2)
        return max(until, self.contact_at) < ready


class Account:
    """Two pots, the cans they are weighed from, and what quality says of their lots."""

    def __init__(self, batches: list[Batch], tally: Counter[str]) -> None:
        self.pots = {batch.pk: _pot(batch) for batch in batches}
        self.can_kg = dict(Container.objects.values_list("pk", "balance"))
        self.lot_of = dict(Container.objects.values_list("pk", "lot"))
        self.written_off: dict[int, tuple[Decimal, datetime]] = {}
        """By can: what its record held when it was seen empty, and when."""
        self.barred: set[int] = set()
        """Lots that are held, recalled or out of date by now."""
        self.settles = set(
            Container.objects.filter(lot__material__stir_before_use=True).values_list(
                "pk", flat=True
            )
        )
        self.stirred: dict[int, list[datetime]] = {}
        """By can: when it was signed as stirred."""
        self.tables = Compiled(
            Batch.objects.values_list("pk", "status", "version", "contact_at", "poured_at"),
            BatchPortion.objects.values_list("pk", "poured_kg", "poured_at", "lost_kg"),
            Lift.objects.values_list("pk", "mass_kg", "depth_mm"),
            Pour.objects.values_list("pk", "status", "version"),
            PourStep.objects.values_list("pk", "done_at"),
            Container.objects.values_list("pk", "balance", "reserved", "opened_at"),
            Reservation.objects.values_list("pk", "quantity"),
            Cure.objects.values_list("pk", "poured_at", "demould_due_at"),
            *(
                f"SELECT MAX(id), COUNT(*) FROM {kind._meta.db_table}"
                for kind in (
                    Movement, Weighing, WeighingAmendment, BatchEntry, GateRecord,
                    CastingQuarantine, Event,
                )
            ),
        )  # fmt: skip
        self.totals = Compiled(
            Weighing.objects.order_by("pk").values_list("key", "weighed_kg", "by"),
            WeighingAmendment.objects.order_by("pk").values_list("weighing__key", "to_kg"),
            Movement.objects.order_by().values("container").annotate(Sum("quantity")),
            Container.objects.values_list("pk", "code", "balance", "reserved"),
            BatchPortion.objects.values_list("batch", "pk", "poured_kg", "lost_kg"),
            Lift.objects.filter(mass_kg__lte=0).values_list("pk"),
        )
        self.keys: Counter[str] = Counter()
        self.tally = tally

    def copy(self) -> Account:
        """Return the account as it stands; the tally goes on being one."""
        other = copy(self)
        other.pots = deepcopy(self.pots)
        other.written_off, other.barred = dict(self.written_off), set(self.barred)
        other.stirred = deepcopy(self.stirred)
        other.keys = Counter(self.keys)
        return other

    def fingerprint(self) -> tuple[Any, ...]:
        """Return all that a refusal must leave as it was."""
        return self.tables.read()

    def book_kg(self, can: int) -> Decimal:
        """Return what the record of a can must hold."""
        used = (
            kg for p in self.pots.values() for _, one, kg, _ in p.weighed.values() if one == can
        )
        off, _ = self.written_off.get(can, (ZERO, None))
        return self.can_kg[can] - sum(used, ZERO) - off

    def see_empty(self, can: int, at: datetime) -> None:
        off, seen = self.written_off.get(can, (ZERO, at))
        self.written_off[can] = (off + self.book_kg(can), max(at, seen))

    def unstirred(self, can: int, at: datetime) -> bool:
        """Whether nobody has signed in time that a can whose filler settles is stirred."""
        signed = (at - one for one in self.stirred.get(can, ()))
        return can in self.settles and not any(
            timedelta(0) <= gone <= STIRRED_FOR for gone in signed
        )

    def lot_is_barred(self, pot: Pot) -> bool:
        return any(self.lot_of[can] in self.barred for can in pot.cans())

    def lower_is_shut(self, pot: Pot, portion: int, at: datetime) -> bool:
        """Whether the lift below is not poured whole, or its clock does not say that it bears."""
        pour, number, _ = pot.portions[portion]
        if number == 1:
            return False
        below = BatchPortion.objects.filter(lift__pour=pour, lift__number=number - 1)
        if not below or any(row.poured_at is None for row in below):
            return True
        clock = Cure.objects.filter(lift__pour=pour, lift__number=number - 1).first()
        if clock is None or clock.looked_at is None or clock.next_opens_at is None:
            return True
        return at < clock.next_opens_at

    def stops(self, pot: Pot, kind: str, portions: list[int], at: datetime) -> set[str]:
        """Return what no reason passes, as this account sees it."""
        found = set()
        if self.lot_is_barred(pot):
            found.add("lot")
        if pot.ratio_is_off():
            found.add("ratio")
        if kind == "poured" and pot.contact_at and at >= pot.pour_by():
            found.add("pot life")
        reach = at + timedelta(hours=1) if kind == "contact" else at
        if any(self.lower_is_shut(pot, one, reach) for one in portions):
            found.add("lower lift")
        return found

    def judge_totals(self) -> None:
        """Compare every table with the account."""
        weighings, amendments, booked, cans, portions, no_mass = self.totals.read()
        rows = {key: [_exact(kg), by] for key, kg, by in weighings}
        for key, kg in amendments:
            rows[key][0] = _exact(kg)
        told = {
            key: [kg, by]
            for pot in self.pots.values()
            for key, (*_, kg, by) in pot.weighed.items()
        }
        found = {key.split(":")[-1]: row for key, row in rows.items()}
        assert found == told, "a weighing lost or doubled"
        sums = {can: _exact(kg) for can, kg in booked}
        for can, code, balance, reserved in cans:
            expected, held = self.book_kg(can), _exact(balance)
            assert abs(held - expected) < TENTH_G / 2, f"{code}: ledger and scale differ"
            assert abs(sums.get(can, ZERO) - held) < TENTH_G / 2, f"{code}: balance"
            assert ZERO <= _exact(reserved) <= held, f"{code}: reserved {reserved}"
        for batch, status, contact_at in Batch.objects.values_list("pk", "status", "contact_at"):
            pot = self.pots[batch]
            there = {
                pk: _exact(kg) for of, pk, kg, _ in portions if of == batch and kg is not None
            }
            assert there == pot.poured, f"{batch}: poured {there}, told {pot.poured}"
            assert pot.poured_kg <= pot.weighed_kg, f"{batch}: more poured than weighed"
            same = status == pot.state or {status, pot.state} <= {"weighing", "weighed"}
            assert same, f"{batch} is {status}, told {pot.state}"
            assert contact_at == pot.contact_at
        assert not any(lost < 0 for *_, lost in portions)
        assert not no_mass, "a lift without mass"


class Compiled:
    """Some queries, made to SQL once and read as the database gives them."""

    def __init__(self, *queries: QuerySet[Any] | str) -> None:
        self.sql = [
            (one, ()) if isinstance(one, str) else one.query.sql_with_params() for one in queries
        ]

    def read(self) -> tuple[list[tuple[Any, ...]], ...]:
        found = []
        with connection.cursor() as cursor:
            for sql, params in self.sql:
                cursor.execute(sql, params)
                found.append(cursor.fetchall())
        return tuple(found)


def _exact(kg: Any) -> Decimal:
    return Decimal(str(kg)).quantize(TENTH_G)


def _pot(batch: Batch) -> Pot:
    system = batch.system
    scale = batch.scale
    return Pot(
        id=batch.pk,
        mixed_kg=batch.mixed_kg,
        life_min=batch.pot_life_min,
        printed=(float(system.pot_life_min), float(system.reference_c)),
        mix=timedelta(minutes=system.mix_min),
        division_kg=(scale.readability_g if scale else Decimal("0.1")) / 1000,
        hardener_per_resin=float(system.hardener_per_100) / 100,
        tolerance=float(system.ratio_tolerance_percent) / 100,
        roles={line.pk: line.role for line in batch.lines.all()},
        sheet={line.pk: (line.container_id, line.target_kg) for line in batch.lines.all()},
        lines=[line.pk for line in batch.lines.order_by("order")],
        portions={
            row.pk: (row.lift.pour_id, row.lift.number, row.kg) for row in batch.portions.all()
        },
    )


def bar_lot(lot: int, how: str, now: datetime) -> None:
    """Hold a lot, or let it run out of date."""
    if how == "held":
        Lot.objects.filter(pk=lot).update(status="held", status_reason="recalled by its maker")
    else:
        Lot.objects.filter(pk=lot).update(expires_on=(now - timedelta(days=1)).date())
