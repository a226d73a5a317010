"""
The registers a shop is set up with, in the order one fills them: the one table pages read.

A register has a list, a form and, where rows have one, a mark for what is no longer in use. The
same columns, checks and rights hold in the API (`shop.sites.views`, `shop.materials.views`).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.db.models import Model, QuerySet

from shared.access.models import Site
from shop.setup import forms, release_forms, site_forms, tool_forms
from shop.setup.register_form import RegisterForm


@dataclass(frozen=True)
class Register:
    """One register: where it stands, who may write it, what its list shows."""

    slug: str
    title: str
    one: str
    about: str
    form: type[RegisterForm]
    columns: tuple[tuple[str, str], ...]
    noun: str = "sites"
    search: tuple[str, ...] = ("code", "name")
    order: tuple[str, ...] = ("code", "id")
    only_own: bool = False
    """The one row is the site itself: it is changed, never added or taken away."""

    @property
    def model(self) -> type[Model]:
        model: type[Model] = self.form._meta.model
        return model

    @property
    def per_site(self) -> bool:
        """Whether rows belong to one site; the others are the whole company's."""
        return self.only_own or self._has("site")

    @property
    def may_archive(self) -> bool:
        """Whether a row can be put out of use and keep its history."""
        return self._has("in_use")

    def _has(self, name: str) -> bool:
        return any(field.name == name for field in self.model._meta.get_fields())

    def rows(self, site: Site) -> QuerySet[Any]:
        """Return the rows seen at a site, in the order of the list."""
        rows = self.model._default_manager.order_by(*self.order)
        if self.only_own:
            return rows.filter(pk=site.pk)
        return rows.filter(site=site) if self.per_site else rows


REGISTERS: tuple[Register, ...] = (
    Register(
        "this-shop", "This shop", "the shop",
        "Its name, usual temperature, and what stands of it on orders to suppliers.",
        site_forms.SiteForm, (("name", "Name"), ("address", "Address"), ("contact", "Contact")),
        search=(), only_own=True,
    ),
    Register(
        "people", "People who work here", "a person",
        "Who mixes, coats, fits and demoulds, and when. Signing in is given on the page People.",
        site_forms.PersonForm, (("code", "Short name"), ("name", "Name"), ("skills", "Skills")),
    ),
    Register(
        "mixers", "Mixers", "a mixer", "What resin is mixed with, and how much at once.",
        site_forms.MixerForm,
        (("code", "Code"), ("name", "Name"), ("largest_kg", "Largest batch, kg")),
    ),
    Register(
        "scales", "Scales", "a scale", "What is weighed with, and how finely.",
        site_forms.ScaleForm,
        (("code", "Code"), ("name", "Name"), ("capacity_kg", "Carries, kg"),
         ("readability_g", "Step, g"), ("next_check_on", "Next check")),
    ),
    Register(
        "places", "Benches, ovens and floor", "a place", "Where tools stand while they cure.",
        site_forms.PlaceForm,
        (("code", "Code"), ("name", "Name"), ("kind", "Kind"), ("capacity", "Tools at once")),
    ),
    Register(
        "shelves", "Shelves and stores", "a shelf", "Where containers are kept, and how warm.",
        site_forms.LocationForm,
        (("code", "Code"), ("name", "Name"), ("lowest_c", "From, °C"), ("highest_c", "To, °C")),
    ),
    Register(
        "closed-days", "Closed days", "a closed day", "Holidays and shutdowns: nobody works.",
        site_forms.ClosedDayForm, (("day", "Day"), ("reason", "Why")),
        noun="availability", search=("reason",), order=("-day",),
    ),
    Register(
        "temperatures", "Expected temperatures", "a day's temperature",
        "Days on which the shop will be warmer or colder than usual.",
        site_forms.TemperatureForm, (("day", "Day"), ("shop_c", "Shop, °C")),
        noun="availability", search=(), order=("-day",),
    ),
    Register(
        "materials", "Materials", "a material",
        "Resins, hardeners, release agents and all else that is bought and used up.",
        forms.MaterialForm,
        (("code", "Code"), ("name", "Name"), ("kind", "Kind"), ("unit", "Unit"),
         ("hazard_statements", "Hazards")),
        noun="materials",
    ),
    Register(
        "resin-systems", "Resin systems", "a resin system",
        "A resin with its hardener: the values of the data sheet.",
        forms.ResinSystemForm,
        (("code", "Code"), ("name", "Name"), ("hardener_per_100", "Hardener to 100"),
         ("pot_life_min", "Pot life, min"), ("deepest_lift_mm", "Deepest lift, mm"),
         ("demould_min", "Demould, min")),
        noun="materials",
    ),
    Register(
        "system-components", "Further components", "a component",
        "Filler, accelerator or pigment that goes into each batch of a system beside resin and "
        "hardener. Its times, density and heat must then hold for the whole mix.",
        forms.SystemComponentForm,
        (("system", "System"), ("name", "Name"), ("material", "Material"),
         ("per_100", "Parts to 100 of resin"), ("tolerance_percent", "May be off by, %")),
        noun="materials",
        search=("name", "material__name", "system__name"),
        order=("system__code", "order", "id"),
    ),
    Register(
        "release-recipes", "Release recipes", "a release recipe",
        "How often a release agent goes on which surface, how long it dries and lasts.",
        release_forms.ReleaseRecipeForm,
        (("code", "Code"), ("name", "Name"), ("material", "Release agent"),
         ("surface", "Surface"), ("coats", "Coats"), ("shots_per_coat", "Shots between")),
        noun="materials",
    ),
    Register(
        "release-clashes", "Agents that do not go together", "a pair of agents",
        "Release agents and sealers that must not meet on one surface. A coat of one on the other "
        "is refused until the old coats are off.",
        release_forms.ReleaseClashForm,
        (("first", "One"), ("second", "The other"), ("reason", "Why")),
        noun="materials", search=("first__name", "second__name", "reason"), order=("id",),
    ),
    Register(
        "checkpoints", "Checklists of tools", "a line of a checklist",
        "What an inspection of a tool looks at: measured with a tolerance, or good or not good. "
        "A line of a family holds for each of its tools.",
        tool_forms.CheckpointForm,
        (("code", "Code"), ("name", "Look at"), ("tool", "Tool"), ("family", "Family"),
         ("nominal", "Nominal"), ("unit", "Unit")),
        noun="tools",
    ),
    Register(
        "retirement-reasons", "Reasons of retirement", "a reason of retirement",
        "Why tools are retired, beside the usual reasons, which are always offered.",
        tool_forms.RetirementReasonForm,
        (("code", "Code"), ("name", "Reason"), ("worn", "End of a life by use")),
        noun="tools",
    ),
    Register(
        "suppliers", "Suppliers", "a supplier",
        "Who sells what. Packs and prices are entered on the page Suppliers.",
        forms.SupplierForm,
        (("code", "Code"), ("name", "Name"), ("order_email", "E-mail"),
         ("lead_time_days", "Delivers in, days")),
        noun="materials",
    ),
)  # fmt: skip
BY_SLUG = {register.slug: register for register in REGISTERS}
