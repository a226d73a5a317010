"""The invented shop at two sites, and one person for each pair of roles in them."""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from datetime import timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management import call_command

from planning.batches.models import BatchEntry
from planning.clocks.models import OvenStay, TemperatureReading
from planning.cures.models import Demould
from planning.deliveries.models import DeliveryNote
from planning.demo import actions as demo
from planning.patterns.models import PatternMesh
from planning.pours.models import Pour
from planning.reminders.models import Delivery, Reminder
from planning.replacements.models import ReplacementDecision
from planning.rules.models import PlanningRules
from planning.schedule.models import WeekPlan
from planning.trials.models import PlanTrial
from planning.weigh_in.models import CastingQuarantine
from shared import clock
from shared.access.models import Membership, Role, Site, User
from shared.access.ownership import site_path_of
from shared.api.roles import PERSONAL, ROLES
from shared.events.models import Event
from shared.hooks.models import Endpoint, HookAttempt, HookDelivery
from shared.outgoing.webhook import new_secret
from shop.consignments.actions import send
from shop.counting.models import CycleCount
from shop.demo import load_shop
from shop.lots.models import Container, Lot
from shop.materials.components import SystemComponent
from shop.materials.models import Material, Pack, ResinSystem
from shop.proposals.models import PurchaseProposal
from shop.recalls.models import Recall
from shop.sites.models import (
    ClosedDay,
    DayChange,
    ExpectedTemperature,
    Location,
    Mixer,
    Outage,
    Person,
    StorageSpell,
)
from shop.tools.inspection_models import Checkpoint, RetirementReason
from shop.tools.models import Tool, ToolEvent, ToolFamily
from shop.waste.models import WasteEntry
from tests.callers import Caller, caller, make_user

NOBODY = "nobody"
HELD = {**ROLES, NOBODY: frozenset()}
"""What somebody may do at a site, by role; nothing without one."""


def held(role: str, elsewhere: str) -> frozenset[str]:
    """Return what a role gives beside another at the other shop: a program never judges."""
    program = Role.INTEGRATION in (role, elsewhere)
    return HELD[role] - PERSONAL if program else HELD[role]


@dataclass
class TwoShops:
    """The invented shop twice, and one person for each pair of roles in it."""

    here: Site
    there: Site
    clients: dict[tuple[str, str], Caller] = field(default_factory=dict)

    def client(self, here: str, there: str) -> Caller:
        """Return the client of somebody with one role here and one there."""
        if (here, there) not in self.clients:
            user = make_user("", self.here, f"{here}-{there}")
            for role, site in ((here, self.here), (there, self.there)):
                if role != NOBODY:
                    Membership.objects.create(user=user, site=site, role=role)
            self.clients[here, there] = caller(user, [self.here, self.there])
        return self.clients[here, there]

    def row(self, model: Any, site: Site) -> Any:
        """Return some row of a site."""
        rows = model._default_manager.filter(**{str(site_path_of(model)): site.pk})
        return rows.order_by("pk").first()


def _rows_the_demo_lacks(shops: TwoShops, site: Site) -> None:
    shelf, person = shops.row(Location, site), shops.row(Person, site)
    now = clock.now()
    DayChange.objects.create(person=person, day="2026-12-24")
    StorageSpell.objects.create(
        location=shelf, starts_at=now, ends_at=now + timedelta(hours=1),
        lowest_c=19, mean_c=20, highest_c=21,
    )  # fmt: skip
    by = User.objects.earliest("pk")
    CycleCount.objects.create(site=site, location=shelf, started_at=now, started_by=by)
    PatternMesh.objects.create(
        site=site, name="half", file_name="half.stl", stored=f"{site.code}.stl", size_bytes=84,
        unit="mm", handed_in_at=now, asked_at=now,
    )  # fmt: skip
    PlanningRules.objects.get_or_create(site=site)
    lot = shops.row(Lot, site)
    Recall.objects.create(
        site=site, material=lot.material, lot_code=lot.code, reason="doubt", at=now
    )
    plan = shops.row(WeekPlan, site)
    PlanTrial.objects.create(plan=plan, questions=[], asked_at=now)
    ClosedDay.objects.create(site=site, day="2026-12-25")
    ExpectedTemperature.objects.create(site=site, day="2026-12-28", shop_c=18)
    Outage.objects.create(
        site=site, mixer=shops.row(Mixer, site), starts_at=now, ends_at=now + timedelta(hours=1)
    )
    Reminder.objects.create(
        site=site, key=f"two:{site.code}", kind="cure_complete", subject="pour:1", title="Demould",
        due_at=now, created_at=now, changed_at=now,
    )  # fmt: skip
    hook = Endpoint.objects.create(
        site=site, name="other", url="https://hooks.example/", secret=new_secret(), made_at=now
    )
    told = Event.objects.filter(site=site).earliest("pk")
    sent = HookDelivery.objects.create(endpoint=hook, event=told, position=1, try_at=now)
    HookAttempt.objects.create(
        endpoint=hook, delivery=sent, message_id=told.uid, at=now, took_ms=1, taken=True,
        words="Taken.",
    )  # fmt: skip
    Delivery.objects.create(
        key=f"two:{site.code}", site=site, user=by, channel="today", due_at=now, try_at=now
    )
    pour, entry = shops.row(Pour, site), shops.row(BatchEntry, site)
    CastingQuarantine.objects.create(pour=pour, entry=entry, words="doubt", at=now, by=by)
    TemperatureReading.objects.create(
        site=site, where="air", at=now, celsius=21, key=f"two:{site.code}", recorded_at=now
    )
    ReplacementDecision.objects.create(
        tool=Tool.objects.filter(site=site).earliest("pk"), accepted=False, reason="enough",
        order_by="2026-12-01", last_day="2026-12-20", basis="made up", decided_at=now,
    )  # fmt: skip
    if shops.row(Demould, site) is None:  # on some weekdays the demo takes none off before today
        Demould.objects.create(
            pour=pour, key=f"two:{site.code}", at=now, recorded_at=now, verdict="accept"
        )
    DeliveryNote.objects.create(
        site=site, key=f"two:{site.code}", at=now, recorded_at=now, recipient="X", address="Y"
    )
    if shops.row(ToolEvent, site) is None:
        tool = Tool.objects.filter(site=site).earliest("pk")
        ToolEvent.objects.create(tool=tool, kind="note", key=f"two:{site.code}", at=now)
    family = ToolFamily.objects.create(site=site, code="TWO", name="Two", stated_shots=300)
    Checkpoint.objects.create(site=site, code="TWO", name="Looks sound", family=family)
    WasteEntry.objects.create(
        site=site, key=f"two:{site.code}", kind="wipes", mass_kg=1, at=now, recorded_at=now
    )
    can = Container.objects.filter(lot__site=site, balance__gt=1, reserved=0).earliest("pk")
    other = Site.objects.exclude(pk=site.pk).earliest("pk")
    send(site=site, to_site=other, goods=[(can, Decimal("0.1"))], key=f"two:{site.code}")
    RetirementReason.objects.create(site=site, code="TWO", name="sold", worn=False)
    OvenStay.objects.create(
        pour=pour, set_c=40, in_at=now, key=f"two:{site.code}", recorded_at=now
    )
    system = ResinSystem.objects.earliest("pk")
    filled, _ = ResinSystem.objects.get_or_create(
        code="TWO", defaults={
            name: getattr(system, name)
            for name in (f.attname for f in ResinSystem._meta.concrete_fields)
            if name not in ("id", "code")
        },
    )  # fmt: skip
    filler, _ = Material.objects.get_or_create(code="TWO-FILLER", name="Filler", kind="filler")
    SystemComponent.objects.get_or_create(
        system=filled, name="filler", material=filler, per_100=50, source="made up"
    )
    pack = Pack.objects.earliest("pk")
    PurchaseProposal.objects.create(
        site=site, supplier=pack.supplier, material=pack.material, order_on="2026-12-01",
        arrives_on="2026-12-08", quantity=5, packs=[], covers=[], left_over=0, goods_cost=1,
        sentence="Order 5 kg.", money_sentence="It costs 1 EUR.", currency="EUR", proven=True,
        worked_out_at=now,
    )  # fmt: skip


def two_shops() -> TwoShops:
    """Bring in the demo, and the same once more as a second site; call inside a transaction."""
    call_command("load_demo", verbosity=0)
    here, now = Site.objects.get(), clock.now()
    data = json.loads(Path(settings.ROOT, "fixtures/demo/shop.json").read_text())
    data["site"] |= {"code": "north", "name": "North"}
    there = load_shop(data, now - demo.HISTORY, "north-demo-shop")
    Membership.objects.filter(site=there).delete()
    demo.load_orders(there, data["orders"], now)
    demo.plan_and_work(there, now)
    found = TwoShops(here, there)
    for place in (here, there):
        _rows_the_demo_lacks(found, place)
    for kind in HELD:
        for other in HELD:
            found.client(kind, other)
    return found
