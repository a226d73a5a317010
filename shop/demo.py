"""Bring in the stock side of an invented shop, once; for trying the service out."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, time, timedelta
from decimal import Decimal
from typing import Any

from django.db import transaction

from shared import clock
from shared.access.models import Membership, Site, User
from shop.demo_history import load_tool, load_waste
from shop.ledger import actions as ledger
from shop.lots.models import Container, Lot, LotStatus
from shop.materials.models import SYSTEM_VALUES, Material, Pack, ResinSystem
from shop.materials.suppliers import Supplier
from shop.purchasing import actions as purchasing
from shop.purchasing.models import PurchaseOrder
from shop.release_agents.models import ReleaseRecipe
from shop.sites.models import Location, Mixer, Person, Place, Scale, Shift

MADE_UP = "made up for the demo; no real product"


@transaction.atomic
def load_shop(data: Mapping[str, Any], now: datetime, password: str) -> Site:
    """Write sites, people, materials, systems and lots; rows that are there are left alone."""
    site, _ = Site.objects.get_or_create(
        code=data["site"]["code"], defaults={**data["site"], "is_default": _no_default_yet()}
    )
    _people(site, data, password)
    for model, rows in (
        (Mixer, data["mixers"]),
        (Scale, data["scales"]),
        (Place, data["places"]),
        (Location, data["locations"]),
    ):
        for row in rows:
            model.objects.get_or_create(site=site, code=row["code"], defaults=row)
    _materials(data)
    for row in data["lots"]:
        _lot(site, row, now)
    for row in data.get("purchases", ()):
        _purchase(site, row, now)
    for row in data.get("tools", ()):
        load_tool(site, row, now)
    for n, row in enumerate(data.get("waste", ())):
        load_waste(site, row, n, now)
    return site


def _no_default_yet() -> bool:
    return not Site.objects.filter(is_default=True).exists()


def _people(site: Site, data: Mapping[str, Any], password: str) -> None:
    people = {}
    for row in data["people"]:
        person, new = Person.objects.get_or_create(
            site=site, code=row["code"], defaults={"name": row["name"], "skills": row["skills"]}
        )
        people[person.code] = person
        if new:
            Shift.objects.bulk_create(
                Shift(
                    person=person,
                    weekday=weekday,
                    starts=time.fromisoformat(starts),
                    ends=time.fromisoformat(ends),
                )
                for weekday in range(1, 8)
                for starts, ends in row["shifts"]
            )
    for row in data["users"]:
        user, new = User.objects.get_or_create(
            username=row["username"],
            defaults={
                "first_name": row["first_name"],
                "email": f"{row['username']}@shop.example",
                "is_staff": row["role"] == "administrator",
            },
        )
        if new:
            user.set_password(password)
            user.save()
        Membership.objects.get_or_create(user=user, site=site, role=row["role"])
        if "person" in row:
            Person.objects.filter(pk=people[row["person"]].pk, user=None).update(user=user)


def _materials(data: Mapping[str, Any]) -> None:
    for row in data["suppliers"]:
        Supplier.objects.get_or_create(code=row["code"], defaults=row)
    for row in data["materials"]:
        Material.objects.get_or_create(code=row["code"], defaults={**row, "source": MADE_UP})
    for row in data["packs"]:
        material = Material.objects.get(code=row["material"])
        supplier = Supplier.objects.get(code=row["supplier"])
        rest = {k: v for k, v in row.items() if k not in ("material", "supplier", "name")}
        Pack.objects.get_or_create(
            material=material,
            supplier=supplier,
            name=row["name"],
            from_packs=row.get("from_packs", 1),
            defaults=rest,
        )
    for row in data["systems"]:
        values = {
            **row,
            "resin": Material.objects.get(code=row["resin"]),
            "hardener": Material.objects.get(code=row["hardener"]),
            "sources": {name: MADE_UP for name in SYSTEM_VALUES if row.get(name)},
        }
        ResinSystem.objects.get_or_create(code=row["code"], defaults=values)
    for row in data["recipes"]:
        values = {**row, "material": Material.objects.get(code=row["material"])}
        ReleaseRecipe.objects.get_or_create(code=row["code"], defaults=values)


def _lot(site: Site, row: Mapping[str, Any], now: datetime) -> None:
    material = Material.objects.get(code=row["material"])
    today = clock.local(now, site).date()
    received = today - timedelta(days=row["received_days_ago"])
    days = row.get("expires_in_days")
    lot, new = Lot.objects.get_or_create(
        site=site,
        material=material,
        supplier=Supplier.objects.get(code=row["supplier"]),
        code=row["code"],
        defaults={
            "received_on": received,
            "expires_on": None if days is None else today + timedelta(days=days),
            "status": LotStatus.RELEASED,
            "unit_cost": Decimal(row["unit_cost"]),
        },
    )
    if not new:
        return
    shelf = Location.objects.get(site=site, code=row["shelf"])
    for n, quantity in enumerate(row["containers"], start=1):
        code = f"{site.code}-{material.code}-{lot.code}-{n}"
        container = Container.objects.create(lot=lot, code=code, location=shelf)
        ledger.receive(
            container_id=container.pk,
            quantity=Decimal(quantity),
            key=f"demo:{code}",
            counterpart=f"supplier:{lot.supplier_id}",
            happened_at=clock.day_start(received, site) + timedelta(hours=10),
            reason="opening stock of the demo",
        )


def _purchase(site: Site, row: Mapping[str, Any], now: datetime) -> None:
    """Write an order that the supplier has confirmed and not delivered yet."""
    supplier = Supplier.objects.get(code=row["supplier"])
    if PurchaseOrder.objects.filter(site=site, supplier_reference=row["reference"]).exists():
        return
    due_on = clock.local(now, site).date() + timedelta(days=row["due_in_days"])
    due_on = supplier.calendar().open_from(due_on)
    lines = []
    for line in row["lines"]:
        offered = Pack.objects.filter(supplier=supplier, material__code=line["material"])
        pack = offered.get(name=line["pack"], from_packs=1)
        lines.append(
            purchasing.NewLine(
                material=pack.material,
                pack_name=pack.name,
                content=pack.content,
                packs=line["packs"],
                expected_on=due_on,
                pack_price=pack.price,
            )
        )
    order = purchasing.draft(site=site, supplier=supplier, lines=lines)
    order = purchasing.place(order=purchasing.approve(order=order, by=None))
    purchasing.confirm(order=order, reference=row["reference"], answers={})
