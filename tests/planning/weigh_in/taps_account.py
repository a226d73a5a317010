"""
An account of what is done at two pots, kept beside the product and judging what it lets through.

It shares no code with the weigh-in: it adds up what was accepted, and reads the tables only to
compare.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from django.db.models import Sum

from planning.batches.models import Batch, BatchEntry, BatchLine, BatchPortion, Lift, Weighing
from planning.clocks.models import Cure
from planning.pours.models import Pour
from planning.weigh_in.models import CastingQuarantine, GateRecord, WeighingAmendment
from shop.lots.models import Container, Lot
from shop.models import Movement, Reservation

ZERO = Decimal(0)
TENTH_G = Decimal("0.0001")
LATE_AFTER = timedelta(minutes=2)


@dataclass
class Pot:
    """What the account holds of one batch; masses in kg by row, by can and by portion."""

    id: int
    mixed_kg: Decimal
    life: timedelta
    division_kg: Decimal
    hardener_per_resin: float
    tolerance: float
    roles: dict[int, str]
    sheet: dict[int, tuple[int, Decimal]]
    """By row: its can, and its target, kg."""
    portions: dict[int, tuple[int, int, Decimal]]
    """By portion: its pour, its lift's number, its mass, kg."""
    state: str = "planned"
    contact_at: datetime | None = None
    begun_at: datetime | None = None
    weighed: dict[str, list[Any]] = field(default_factory=dict)
    """By key: row, can, kg as it counts."""
    poured: dict[int, Decimal] = field(default_factory=dict)

    def row_kg(self, line: int) -> Decimal:
        return sum((kg for row, _, kg in self.weighed.values() if row == line), ZERO)

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
        return {can for _, can, _ in self.weighed.values()}


class Account:
    """Two pots, the cans they are weighed from, and what quality says of their lots."""

    def __init__(self, batches: list[Batch]) -> None:
        self.pots = {batch.pk: _pot(batch) for batch in batches}
        self.can_kg = dict(Container.objects.values_list("pk", "balance"))
        self.lot_of = dict(Container.objects.values_list("pk", "lot"))
        self.movements = Movement.objects.count()
        self.written_off: dict[int, tuple[Decimal, datetime]] = {}
        """By can: what its record held when it was seen empty, and when."""
        self.barred: set[int] = set()
        """Lots that are held, recalled or out of date by now."""
        self.keys: Counter[str] = Counter()
        self.tally: Counter[str] = Counter()

    def fingerprint(self) -> tuple[Any, ...]:
        """Return all that a refusal must leave as it was."""
        return (
            tuple(Batch.objects.values_list("pk", "status", "version", "contact_at", "poured_at")),
            tuple(BatchPortion.objects.values_list("pk", "poured_kg", "poured_at", "lost_kg")),
            tuple(Lift.objects.values_list("pk", "mass_kg", "depth_mm")),
            tuple(Pour.objects.values_list("pk", "status", "version")),
            tuple(Container.objects.values_list("pk", "balance", "reserved", "opened_at")),
            tuple(Reservation.objects.values_list("pk", "quantity")),
            tuple(Cure.objects.values_list("pk", "poured_at", "demould_due_at")),
            *(
                kind.objects.count()
                for kind in (Movement, Weighing, WeighingAmendment, BatchEntry, GateRecord)
            ),
            CastingQuarantine.objects.count(),
        )

    def book_kg(self, can: int) -> Decimal:
        """Return what the record of a can must hold."""
        used = (kg for p in self.pots.values() for _, one, kg in p.weighed.values() if one == can)
        off, _ = self.written_off.get(can, (ZERO, None))
        return self.can_kg[can] - sum(used, ZERO) - off

    def see_empty(self, can: int, at: datetime) -> None:
        off, seen = self.written_off.get(can, (ZERO, at))
        self.written_off[can] = (off + self.book_kg(can), max(at, seen))

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
        if kind == "poured" and pot.contact_at and at >= pot.contact_at + pot.life:
            found.add("pot life")
        reach = at + timedelta(hours=1) if kind == "contact" else at
        if any(self.lower_is_shut(pot, one, reach) for one in portions):
            found.add("lower lift")
        return found

    def judge_totals(self) -> None:
        """Compare every table with the account."""
        weighed = Weighing.objects.prefetch_related("amendments")
        rows = {row.key.split(":")[-1]: row for row in weighed}
        told = {key: kg for pot in self.pots.values() for key, (_, _, kg) in pot.weighed.items()}
        assert {key: row.kg for key, row in rows.items()} == told, "a weighing lost or doubled"
        booked = dict(
            Movement.objects.values("container").annotate(kg=Sum("quantity")).values_list(
                "container", "kg"
            )
        )  # fmt: skip
        for can in Container.objects.all():
            expected = self.book_kg(can.pk)
            assert abs(can.balance - expected) < TENTH_G / 2, (
                f"{can.code}: ledger and scale differ"
            )
            assert abs(booked.get(can.pk, ZERO) - can.balance) < TENTH_G / 2, (
                f"{can.code}: balance"
            )
            assert ZERO <= can.reserved <= can.balance, f"{can.code}: reserved {can.reserved}"
        for pot in self.pots.values():
            batch = Batch.objects.get(pk=pot.id)
            there = dict(
                batch.portions.filter(poured_kg__isnull=False).values_list("pk", "poured_kg")
            )
            assert there == pot.poured, f"{batch}: poured {there}, told {pot.poured}"
            assert pot.poured_kg <= pot.weighed_kg, f"{batch}: more poured than weighed"
            assert batch.status == pot.state or {batch.status, pot.state} <= {
                "weighing",
                "weighed",
            }, f"{batch} is {batch.status}, told {pot.state}"
            assert batch.contact_at == pot.contact_at
        held = BatchPortion.objects.filter(lost_kg__lt=0).exists()
        assert not held
        assert not Lift.objects.filter(mass_kg__lte=0).exists(), "a lift without mass"


def _pot(batch: Batch) -> Pot:
    system = batch.system
    scale = batch.scale
    return Pot(
        id=batch.pk,
        mixed_kg=batch.mixed_kg,
        life=timedelta(minutes=batch.pot_life_min),
        division_kg=(scale.readability_g if scale else Decimal("0.1")) / 1000,
        hardener_per_resin=float(system.hardener_per_100) / 100,
        tolerance=float(system.ratio_tolerance_percent) / 100,
        roles={line.pk: line.role for line in batch.lines.all()},
        sheet={line.pk: (line.container_id, line.target_kg) for line in batch.lines.all()},
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


def lines_of(batch: int) -> list[BatchLine]:
    return list(BatchLine.objects.filter(batch=batch).order_by("order"))
