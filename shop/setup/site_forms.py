"""The forms of what a site works with, with a sentence beside each field."""

from __future__ import annotations

from typing import Any

from django import forms
from django.core.validators import MaxValueValidator, MinValueValidator

from shared.access.models import Site
from shop.setup.entries import WEEKDAYS, HoursField, WordsField, hours_text, new_words
from shop.setup.register_form import CODE_HINT, RegisterForm
from shop.sites.models import ClosedDay, ExpectedTemperature, Location, Mixer, Person, Place, Scale

USUAL_SKILLS = ("mixing", "coating", "demoulding", "fitting")
"""The words the example routes use; common practice, no source."""
USUAL_HOURS = "07:00-12:00, 12:30-15:30"


class PersonForm(RegisterForm):
    """Somebody who works in the shop: name, skills and weekly hours."""

    labels = {"name": "Name", "code": "Short name"}
    hints = {"code": CODE_HINT, "user": "Whose sign-in this is; may stay empty."}
    skills = WordsField(required=False, label="Skills")
    more_skills = forms.CharField(
        required=False,
        max_length=200,
        label="Other skills",
        help_text="With commas between. A step that asks for a skill goes to those who have it.",
    )

    class Meta:
        model = Person
        fields = ["name", "code", "user"]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["user"].queryset = (
            self.fields["user"]
            .queryset.filter(memberships__site=self.site, is_active=True)
            .distinct()
        )
        self.fields["user"].label = "Signs in as"
        known = skills_in_use(self.site)
        self.fields["skills"].choices = [(word, word) for word in known]
        here = self.instance.pk is not None
        self.fields["skills"].initial = self.instance.skills if here else list(USUAL_SKILLS)
        hours: dict[int, list[Any]] = {}
        if here:
            for shift in self.instance.shifts.all():
                hours.setdefault(shift.weekday, []).append((shift.starts, shift.ends))
        for number, name in enumerate(WEEKDAYS, start=1):
            usual = USUAL_HOURS if number <= 5 else ""
            self.fields[f"hours_{number}"] = HoursField(
                label=name,
                initial=hours_text(hours.get(number, [])) if here else usual,
                help_text="Such as 07:00-12:00, 12:30-15:30; empty: off." if number == 1 else "",
            )

    def clean_more_skills(self) -> list[str]:
        """Return the words typed beside those ticked."""
        return new_words(self.cleaned_data["more_skills"], "Other skills")

    def values(self) -> dict[str, Any]:
        """Return the columns to write; `shifts` is what the weekly hours become."""
        chosen = [*self.cleaned_data["skills"], *self.cleaned_data["more_skills"]]
        shifts = [
            (number, starts, ends)
            for number in range(1, 8)
            for starts, ends in self.cleaned_data[f"hours_{number}"]
        ]
        return {**super().values(), "skills": sorted(set(chosen)), "shifts": shifts}


def skills_in_use(site: Site) -> list[str]:
    """Return the skill words people at a site have, with the usual ones."""
    found = set(USUAL_SKILLS)
    for skills in Person.objects.filter(site=site).values_list("skills", flat=True):
        found.update(skills)
    return sorted(found)


class MixerForm(RegisterForm):
    labels = {"largest_kg": "Largest batch, kg", "least_kg": "Least batch, kg"}
    hints = {
        "code": CODE_HINT,
        "largest_kg": "What the mixer and its vessel can mix at once. A bucket and a drill count.",
        "least_kg": "Below this it does not mix well; 0 where there is no such limit.",
    }

    class Meta:
        model = Mixer
        fields = ["name", "code", "largest_kg", "least_kg"]


class ScaleForm(RegisterForm):
    labels = {
        "capacity_kg": "Carries at most, kg",
        "readability_g": "Smallest step shown, g",
        "next_check_on": "Next check on",
    }
    hints = {
        "code": CODE_HINT,
        "readability_g": "Weights on the sheet are rounded to it, so that the ratio still holds.",
    }

    class Meta:
        model = Scale
        fields = ["name", "code", "capacity_kg", "readability_g", "next_check_on"]


class PlaceForm(RegisterForm):
    labels = {"capacity": "Tools at once"}
    hints = {
        "code": CODE_HINT,
        "capacity": "How many tools may stand and cure there at the same time.",
    }

    class Meta:
        model = Place
        fields = ["name", "code", "kind", "capacity"]


class LocationForm(RegisterForm):
    labels = {"lowest_c": "Kept at least at, °C", "highest_c": "Kept at most at, °C"}
    hints = {"code": CODE_HINT}

    class Meta:
        model = Location
        fields = ["name", "code", "lowest_c", "highest_c"]


class ClosedDayForm(RegisterForm):
    labels = {"day": "Closed on", "reason": "Why"}

    class Meta:
        model = ClosedDay
        fields = ["day", "reason"]


class TemperatureForm(RegisterForm):
    labels = {"day": "Day", "shop_c": "Shop temperature, °C"}
    hints = {"shop_c": "What the shop will have on that day, where it is not as usual."}

    class Meta:
        model = ExpectedTemperature
        fields = ["day", "shop_c"]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        words = "Shop temperature must be 0 to 45 °C."
        limits = [MinValueValidator(0, words), MaxValueValidator(45, words)]
        self.fields["shop_c"].validators += limits


class SiteForm(RegisterForm):
    """What stands of the shop itself on orders to suppliers."""

    labels = {
        "name": "Name of the shop",
        "expected_c": "Usual shop temperature, °C",
        "legal_name": "Name on orders",
        "address": "Address, for bills",
        "delivery_address": "Delivery address",
        "contact": "Contact for suppliers",
        "tax_number": "Tax number",
    }

    class Meta:
        model = Site
        fields = [
            "name", "expected_c", "legal_name", "address", "delivery_address", "contact",
            "tax_number",
        ]  # fmt: skip
        widgets = {
            "address": forms.Textarea(attrs={"rows": 3}),
            "delivery_address": forms.Textarea(attrs={"rows": 3}),
        }
