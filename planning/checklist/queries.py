"""What a shop still lacks for its first plan, each with the page to enter it on."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.urls import reverse

from planning.pours.models import Pour
from planning.routes.models import Route, RouteStep
from shared import clock
from shop import stores

LOOK_AHEAD_DAYS = 14
"""Hours of work are looked for in this many days from today."""
MIXING = "mixing"


@dataclass(frozen=True)
class Item:
    """One thing a plan needs: whether it is there, what is missing in words, where to enter it."""

    title: str
    missing: tuple[str, ...]
    address: str
    action: str

    @property
    def done(self) -> bool:
        return not self.missing


def checklist(site: Any, now: Any) -> list[Item]:
    """Return what a first plan needs, in the order one enters it."""
    week = stores.site_week(site.pk, clock.local(now, site).date(), LOOK_AHEAD_DAYS)
    systems = stores.systems()
    skilled = {skill for person in week.people if person.shifts for skill in person.skills}
    at_work = [person for person in week.people if person.shifts]
    benches = [place for place in week.places if place.kind != "oven"]
    return [
        _item(
            "People and hours",
            [] if at_work else [f"Nobody has working hours in the next {LOOK_AHEAD_DAYS} days."],
            _register("people"),
            "Enter a person",
        ),
        _item(
            "Skills",
            _skills(skilled, systems) if at_work else [],
            _register("people"),
            "Give somebody the skill",
        ),
        _item("Mixer", [] if week.mixers else ["No mixer is entered."], _register("mixers"),
              "Enter a mixer"),
        _item("Scale", [] if week.scales else ["No scale is entered."], _register("scales"),
              "Enter a scale"),
        _item("Bench", [] if benches else ["No bench or floor space is entered."],
              _register("places"), "Enter a place"),
        _item("Resin system", [] if systems else ["No resin system is entered."],
              _register("resin-systems"), "Enter a resin system"),
        _item("Release recipe", [] if stores.recipes() else ["No release recipe is entered."],
              _register("release-recipes"), "Enter a release recipe"),
        _item("Route", [] if Route.objects.exists() else ["No route is entered."],
              reverse("routes"), "Enter a route"),
        _item("Stock", _stock(site, now, systems), reverse("goods-in"), "Take goods in"),
        _item("Order", _orders(site), reverse("orders"), "Enter an order"),
    ]  # fmt: skip


def _item(title: str, missing: list[str], address: str, action: str) -> Item:
    return Item(title, tuple(missing), address, action)


def _register(slug: str) -> str:
    return reverse("setup-add", args=[slug])


def _skills(skilled: set[str], systems: Any) -> list[str]:
    """Return the skills that systems and routes ask for and nobody at work has."""
    missing = []
    if MIXING not in skilled:
        missing += [f"Nobody may mix {system.name}: give somebody the skill {MIXING}."
                    for system in systems[:5]]  # fmt: skip
    asked = RouteStep.objects.exclude(skill="").values_list("skill", flat=True).distinct()
    for skill in sorted(set(asked) - skilled - {MIXING}):
        step = RouteStep.objects.filter(skill=skill).select_related("route").first()
        assert step is not None
        missing.append(
            f"Nobody has the skill {skill}, which the route {step.route.name} asks for at "
            f"“{step.name}”."
        )
    return missing


def _stock(site: Any, now: Any, systems: Any) -> list[str]:
    """Return what systems are mixed from and of which nothing usable lies in the store."""
    wanted = {part.id: part.name for one in systems for part in one.materials}
    today = clock.local(now, site).date()
    have = {
        one.material_id
        for one in stores.containers(site.pk, wanted, usable_on=today)
        if one.free > 0
    }
    return [
        f"No usable container of {name} is in stock."
        for i, name in wanted.items()
        if i not in have
    ]


def _orders(site: Any) -> list[str]:
    if Pour.objects.filter(order__site=site).exists():
        return []
    return ["No order is entered."]
