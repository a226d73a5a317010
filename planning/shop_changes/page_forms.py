"""The forms of the page on changes: for each kind the fields it needs, today filled in."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from typing import Any

from django import forms

from shared import clock, wall_clock
from shared.access.models import Site
from shared.errors import Invalid
from shop import stores

FIELDS: dict[str, tuple[str, ...]] = {
    "absence": ("person", "day", "until_day", "starts", "ends", "reason"),
    "late_arrival": ("person", "day", "starts", "reason"),
    "extra_shift": ("person", "day", "starts", "ends", "reason"),
    "closed_day": ("day", "until_day", "reason"),
    "out_of_use": ("thing", "from_day", "from_time", "to_day", "to_time", "reason"),
    "temperature": ("day", "until_day", "shop_c"),
}
MAY_BE_EMPTY = {
    "absence": {"until_day", "starts", "ends", "reason"},
    "late_arrival": {"reason"},
    "extra_shift": {"reason"},
    "closed_day": {"until_day", "reason"},
    "out_of_use": {"reason"},
    "temperature": {"until_day"},
}
LABELS = {
    "person": "Who", "day": "Day", "until_day": "Last day, if several", "starts": "From",
    "ends": "To", "reason": "Why", "thing": "What", "from_day": "From, day",
    "from_time": "From, time", "to_day": "To, day", "to_time": "To, time",
    "shop_c": "Shop, °C",
}  # fmt: skip
OUT_OF_USE: tuple[tuple[str, str, wall_clock.Twice], ...] = (
    ("from", "starts_at", "earlier"), ("to", "ends_at", "later"),
)  # fmt: skip
"""Of a time that the clock shows twice a stretch begins at the first and ends at the second."""
OWN_LABELS = {
    ("late_arrival", "starts"): "Comes at",
    ("absence", "starts"): "From, if not the whole day",
    ("absence", "ends"): "To, if not the whole day",
    ("absence", "day"): "First day",
    ("closed_day", "day"): "First day",
    ("temperature", "day"): "First day",
}


class ShopChangeForm(forms.Form):
    """One kind of change; choices are the site's own people, mixers and places."""

    def __init__(self, data: Any = None, *, kind: str, site: Site, now: datetime) -> None:
        super().__init__(data, auto_id=f"{kind}_%s")
        self.kind, self.site, self.now = kind, site, now
        week = stores.site_week(site.pk, clock.local(now, site).date(), 1)
        for name in FIELDS[kind]:
            field = self._field(name, week)
            field.label = OWN_LABELS.get((kind, name), LABELS[name])
            field.required = name not in MAY_BE_EMPTY[kind]
            self.fields[name] = field

    def _field(self, name: str, week: Any) -> forms.Field:
        local = clock.local(self.now, self.site)
        if name == "person":
            return _choice([(str(one.id), one.name) for one in week.people])
        if name == "thing":
            mixers = [(f"mixer:{one.id}", one.name) for one in week.mixers]
            places = [(f"place:{one.id}", one.name) for one in week.places]
            return _choice([("Mixers", mixers), ("Ovens, benches, floor", places)])
        if name.endswith("day"):
            first = local.date() + timedelta(days=1 if name == "to_day" else 0)
            return _day(None if name == "until_day" else first)
        if name in ("starts", "ends", "from_time", "to_time"):
            usual = {"from_time": f"{local:%H:%M}", "to_time": "07:00"}.get(name, "")
            return forms.TimeField(
                initial=usual, widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M")
            )
        if name == "shop_c":
            attributes = {"inputmode": "decimal"}
            return forms.DecimalField(
                max_digits=4, decimal_places=1, widget=forms.TextInput(attrs=attributes)
            )
        return forms.CharField(max_length=200)

    def change(self) -> stores.ShopChange:
        """Return what was filled in, as the stores take it."""
        values = {name: value for name, value in self.cleaned_data.items() if value != ""}
        thing = values.pop("thing", None)
        if thing is not None:
            kind, _, key = thing.partition(":")
            values[kind] = int(key)
            for name in ("from_day", "from_time", "to_day", "to_time"):
                values.pop(name)
        if "person" in values:
            values["person"] = int(values["person"])
        return stores.ShopChange(kind=self.kind, **values)

    def clean(self) -> dict[str, Any]:
        """Put days and times together; what is out of use is so as long as may be meant."""
        found = super().clean() or {}
        for side, name, twice in OUT_OF_USE:
            day, hour = found.get(f"{side}_day"), found.get(f"{side}_time")
            if day is None or hour is None:
                continue
            try:
                found[name] = wall_clock.resolved(
                    datetime.combine(day, hour), clock.zone(self.site.time_zone),
                    name=LABELS[f"{side}_time"], field=name, twice=twice,
                )  # fmt: skip
            except Invalid as error:
                self.add_error(f"{side}_time", error.message)
        return found


def _choice(choices: list[Any]) -> forms.ChoiceField:
    return forms.ChoiceField(choices=[("", "Choose"), *choices])


def _day(initial: date | None) -> forms.DateField:
    return forms.DateField(
        initial=initial, widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    )
