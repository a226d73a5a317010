"""The least valid objects of the shop; a test names only what matters to it."""

from __future__ import annotations

from datetime import UTC, date, datetime
from decimal import Decimal
from itertools import count

from shared.access.models import Membership, Site, User
from shop.ledger import actions
from shop.lots.models import Container, Lot, LotStatus
from shop.materials.models import SYSTEM_VALUES, Material, ResinSystem
from shop.materials.suppliers import Supplier
from shop.release_agents.models import ReleaseRecipe
from shop.sites.models import Location, Person, Shift
from shop.tools.models import Tool, ToolFamily, ToolKind, ToolStatus

NOW = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)
"""The moment at which the tests' shop lives."""

_number = count(1)


def _made(model, **values):
    """Insert a row after the same checks a person's input gets."""
    row = model(**values)
    row.full_clean(validate_unique=False)
    row.save()
    return row


def make_site(**values):
    n = next(_number)
    return _made(Site, **{"code": f"S{n}", "name": f"Site {n}", "time_zone": "UTC"} | values)


def make_user(site=None, role="technician", **values):
    n = next(_number)
    user = User.objects.create_user(**{"username": f"user{n}", "password": "p"} | values)
    if site is not None:
        Membership.objects.create(user=user, site=site, role=role)
    return user


def make_supplier(**values):
    n = next(_number)
    return _made(Supplier, **{"code": f"SUP{n}", "name": f"Supplier {n}"} | values)


def make_material(**values):
    n = next(_number)
    usual = {"code": f"M{n}", "name": f"Material {n}", "kind": "resin", "unit": "kg"}
    return _made(Material, **usual | values)


def make_system(**values):
    n = next(_number)
    usual = {
        "code": f"SYS{n}",
        "name": f"System {n}",
        "hardener_per_100": Decimal(20),
        "mixed_density_kg_l": Decimal("1.7"),
        "pot_life_min": Decimal(60),
        "deepest_lift_mm": Decimal(60),
        "demould_min": Decimal(1440),
        "sources": dict.fromkeys(SYSTEM_VALUES, "invented for a test"),
    }
    if "resin" not in values:
        usual["resin"] = make_material(kind="resin")
    if "hardener" not in values:
        usual["hardener"] = make_material(kind="hardener")
    return _made(ResinSystem, **usual | values)


def make_recipe(**values):
    n = next(_number)
    usual = {
        "code": f"R{n}",
        "name": f"Recipe {n}",
        "coats": 4,
        "hands_min_per_m2": Decimal(10),
        "dry_min": 20,
        "last_dry_min": 60,
        "source": "invented for a test",
    }
    if "material" not in values:
        usual["material"] = make_material(kind="release_agent")
    return _made(ReleaseRecipe, **usual | values)


def make_lot(site=None, material=None, **values):
    n = next(_number)
    usual = {
        "site": site or make_site(),
        "material": material or make_material(),
        "code": f"LOT{n}",
        "received_on": date(2026, 11, 1),
        "expires_on": date(2027, 6, 30),
        "status": LotStatus.RELEASED,
    }
    return _made(Lot, **usual | values)


def make_container(lot=None, holds=0, came=None, **values):
    """Return a container that holds what its receipt in the ledger says, since it `came`."""
    usual = {"lot": lot or make_lot(), "code": f"C{next(_number)}"}
    container = _made(Container, **usual | values)
    if holds:
        actions.receive(
            container_id=container.pk,
            quantity=Decimal(holds),
            key=f"first:{container.pk}",
            counterpart="supplier:1",
            happened_at=came or NOW.replace(day=1),
        )
        container.refresh_from_db()
    return container


def make_location(site, **values):
    n = next(_number)
    return _made(Location, **{"site": site, "code": f"L{n}", "name": f"Shelf {n}"} | values)


def make_person(site, *, hours=(), **values):
    """Return a person with stretches of work given as (weekday, start, end)."""
    n = next(_number)
    person = _made(Person, **{"site": site, "code": f"P{n}", "name": f"Person {n}"} | values)
    for weekday, starts, ends in hours:
        Shift.objects.create(person=person, weekday=weekday, starts=starts, ends=ends)
    return person


def make_tool(site=None, **values):
    n = next(_number)
    usual = {
        "site": site or make_site(),
        "code": f"T{n}",
        "name": f"Tool {n}",
        "kind": ToolKind.SINGLE,
        "status": ToolStatus.IN_SERVICE,
    }
    return _made(Tool, **usual | values)


def make_family(site=None, **values):
    n = next(_number)
    usual = {"site": site or make_site(), "code": f"F{n}", "name": f"Family {n}"}
    return _made(ToolFamily, **usual | values)
