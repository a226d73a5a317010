"""The invented shop: made in the product and written into the simulation's record alike."""

from __future__ import annotations

import random
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

from planning.pours.actions import take_order
from planning.pours.models import Pour
from planning.routes.models import Route, RouteStep
from planning.rules.models import PlanningRules
from shop.models import Scale
from shop.sites.models import Mixer, Place
from tests.benchmarks.year.book import (
    BEFORE,
    RESINS,
    ROUTES,
    SHOP_C,
    Asked,
    Book,
    Can,
    Hand,
    Minutes,
    Resin,
    Thing,
)
from tests.conftest import make_user
from tests.factories.shop import (
    make_container,
    make_lot,
    make_material,
    make_person,
    make_site,
    make_system,
)

EARLY: tuple[Minutes, ...] = ((390, 690), (720, 900))
MIDDLE: tuple[Minutes, ...] = ((480, 720), (750, 990))
LATE: tuple[Minutes, ...] = ((780, 1020), (1050, 1290))
ALL = frozenset({"mixing", "coating", "demoulding"})
CREW = (
    ("Ilse", ALL, EARLY),
    ("Omar", ALL, EARLY),
    ("Pavel", ALL, LATE),
    ("Runa", frozenset({"coating", "demoulding"}), MIDDLE),
)
CANS = {"resin": 20.0, "hardener": 2.5}
OPEN_DAYS = 30


@dataclass
class Shop:
    """The product's site and the record of what is so there."""

    site: Any
    user: Any
    book: Book
    random: random.Random
    systems: dict[str, Any] = field(default_factory=dict)
    routes: dict[str, Any] = field(default_factory=dict)
    size: float = 1.0
    """Pours in a week, as a share of 60."""
    orders: int = 0


def make_shop(now: datetime, seed: int, pours_a_week: int) -> Shop:
    """Make an empty shop for so many pours a week, with a crew, mixers, benches and ovens."""
    share = pours_a_week / 60
    site = make_site(time_zone="Europe/Berlin", expected_c=Decimal(SHOP_C))
    PlanningRules.objects.create(site=site, night_c=Decimal(SHOP_C))
    shop = Shop(site, make_user("planner", site), Book(), random.Random(seed), size=share)
    crew = CREW if share > 0.5 else CREW[:2]
    for name, skills, hours in crew:
        _hire(shop, name, skills, hours)
    for n in range(max(2, round(3 * share))):
        holds = (15.0, 12.0, 15.0)[n % 3]
        row = Mixer.objects.create(
            site=site, code=f"M{n}", name=f"Mixer {n}", largest_kg=Decimal(holds)
        )
        shop.book.mixers[row.pk] = Thing(row.name, "mixer", holds)
    Scale.objects.create(
        site=site, code="S", name="Scale", capacity_kg=Decimal(60), readability_g=Decimal(1)
    )
    places = (("bench", 30), ("floor", 12), ("oven", 4), ("oven", 4))
    for n, (kind, holds) in enumerate(places):
        row = Place.objects.create(
            site=site, code=f"P{n}", name=f"{kind} {n}", kind=kind,
            capacity=max(2, round(holds * share)),
        )  # fmt: skip
        shop.book.places[row.pk] = Thing(row.name, kind, row.capacity)
    for resin in RESINS:
        shop.systems[resin.code] = _system(resin)
    for code in ROUTES:
        shop.routes[code] = _route(code)
    return shop


def _hire(shop: Shop, name: str, skills: frozenset[str], hours: tuple[Minutes, ...]) -> None:
    clock = [f"{m // 60:02d}:{m % 60:02d}" for pair in hours for m in pair]
    pairs = list(zip(clock[::2], clock[1::2], strict=True))
    row = make_person(
        shop.site, name=name, skills=sorted(skills),
        hours=[(day, a, b) for day in range(1, 6) for a, b in pairs],
    )  # fmt: skip
    shop.book.people[row.pk] = Hand(name, skills, dict.fromkeys(range(1, 6), hours))


def _system(resin: Resin) -> Any:
    made = {
        kind: make_material(code=f"{kind}-{resin.code}", kind=kind, open_life_days=OPEN_DAYS)
        for kind in CANS
    }
    return make_system(
        code=resin.code, name=f"System {resin.code}", **made,
        hardener_per_100=Decimal(str(resin.hardener_per_100)),
        mixed_density_kg_l=Decimal(str(resin.density)),
        pot_life_min=Decimal(str(resin.pot_life_min)), pot_life_mass_kg=Decimal(10),
        gel_time_min=Decimal(str(resin.pot_life_min * 1.6)), reference_c=Decimal(SHOP_C),
        deepest_lift_mm=Decimal(str(resin.deepest_mm)),
        gap_least_min=Decimal(str(resin.gap_least_min)),
        gap_greatest_min=Decimal(str(resin.gap_greatest_min)),
        demould_min=Decimal(str(resin.demould_min)), activation_kj_mol=Decimal(55),
        weigh_min=8, mix_min=5, clean_min=7, move_min=2, abrade_min=20,
        pour_rate_kg_min=Decimal("1.2"), vessel_kg=Decimal(str(resin.vessel_kg)),
        least_batch_kg=Decimal(1), residue_fixed_kg=Decimal("0.15"), residue_share=Decimal("0.01"),
    )  # fmt: skip


def _route(code: str) -> Any:
    halves = ROUTES[code]
    kind = "matched" if len(halves) == 2 else "single"
    route = Route.objects.create(code=code, name=f"Route {code}", kind=kind)
    for half, after in halves.items():
        for phase, rules in (("before", BEFORE), ("after", after)):
            for n, rule in enumerate(rules):
                RouteStep.objects.create(
                    route=route, half=half, phase=phase, order=10 * n, name=rule.name,
                    hands_min=rule.hands_min, wait_min=rule.wait_min, skill=rule.skill,
                    longest_wait_min=rule.longest_wait_min, oven_cycle=rule.oven,
                    source="invented for a simulation",
                )  # fmt: skip
    return route


def deliver(shop: Shop, now: datetime, weeks: float) -> None:
    """Put so many weeks' material of each system on the shelf, as one lot of each."""
    today = now.astimezone(tz=None).date()
    for resin, share in zip(RESINS, (0.5, 0.33, 0.17), strict=True):
        kg = (420 * shop.size * share + 25) * 1.15 * weeks
        system = shop.systems[resin.code]
        parts = {"resin": 100.0, "hardener": resin.hardener_per_100}
        for kind, part in parts.items():
            need = kg * part / (100 + resin.hardener_per_100)
            until = today + timedelta(days=shop.random.choice((40, 90, 180)))
            material = getattr(system, kind)
            lot = make_lot(shop.site, material, expires_on=until, received_on=today)
            for _ in range(int(need / CANS[kind]) + 1):
                can = make_container(lot, holds=CANS[kind], came=now)
                shop.book.cans[can.pk] = Can(material.code, CANS[kind], until, open_days=OPEN_DAYS)


def new_order(
    shop: Shop, now: datetime, due: date, weight: int, *, pair: bool = False
) -> list[int]:
    """Take in an order for one pour, or for a matched pair; return the pours' ids."""
    rng = shop.random
    shop.orders += 1
    number = f"Y-{shop.orders:05d}"
    resin = rng.choices(RESINS, (3, 2, 1))[0]
    depth = rng.choice((30, 40, 50, 60, 60, 90, 110))
    kg = rng.choice((rng.uniform(1, 6), rng.uniform(2, 9), rng.uniform(6, 22)))
    route = "pair" if pair else rng.choices(("plain", "baked"), (85, 15))[0]
    side = Decimal(f"{(kg / resin.density / depth * 1e6) ** 0.5:.1f}")
    real_kg = float(side) ** 2 * depth * resin.density / 1e6
    rows = [
        {"half": half, "system_id": shop.systems[resin.code].pk, "length_mm": side,
         "width_mm": side, "depth_mm": Decimal(depth), "tool_side": "board",
         "place_kind": "bench" if kg < 14 else "floor", "due_on": due + timedelta(days=3 * n)}
        for n, half in enumerate(ROUTES[route])
    ]  # fmt: skip
    order = take_order(
        site_id=shop.site.pk, number=number, tool_code=f"TOOL-{number}", tool_name=number,
        route=shop.routes[route], due_on=due, pours=rows, now=now, priority=weight,
    )  # fmt: skip
    made: list[int] = []
    for pour in Pour.objects.filter(order=order).order_by("half"):
        below = made[-1] if made else None
        shop.book.pours[pour.pk] = Asked(
            number, pour.half, route, resin, depth, real_kg, pour.due_on, weight, below
        )
        made.append(pour.pk)
    return made
