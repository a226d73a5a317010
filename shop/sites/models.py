"""What a site works with: people and hours, mixers, scales, benches and ovens, shelves."""

from __future__ import annotations

from decimal import Decimal
from typing import ClassVar

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models

from shared.access.models import CODE

KG = {"max_digits": 12, "decimal_places": 4}


class SiteThing(models.Model):
    """Something that belongs to one site and has a short code there."""

    site = models.ForeignKey("shared.Site", models.PROTECT, related_name="+")
    code = models.CharField(max_length=40, validators=[CODE])
    name = models.CharField(max_length=120)
    in_use = models.BooleanField(default=True)
    version = models.PositiveIntegerField(default=1, editable=False)

    class Meta:
        abstract = True
        ordering = ["site", "code"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["site", "code"], name="%(class)s_code_once_per_site"),
        ]

    def __str__(self) -> str:
        return self.name


class Person(SiteThing):
    """Somebody who works in the shop, whether or not they sign in."""

    user = models.ForeignKey(
        "shared.User", models.SET_NULL, null=True, blank=True, related_name="people"
    )
    skills = models.JSONField(
        default=list, blank=True, help_text="Words such as mixing, coating, demoulding, fitting."
    )


class Shift(models.Model):
    """A stretch of work without a break, each week on one weekday (1 = Monday)."""

    person = models.ForeignKey(Person, models.CASCADE, related_name="shifts")
    weekday = models.PositiveSmallIntegerField(
        validators=[MinValueValidator(1), MaxValueValidator(7)]
    )
    starts = models.TimeField()
    ends = models.TimeField()

    class Meta:
        ordering = ["person", "weekday", "starts"]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=models.Q(ends__gt=models.F("starts")),
                name="shift_ends_after_start",
                violation_error_message="A shift must end later than it starts, on the same day.",
            ),
            models.CheckConstraint(
                condition=models.Q(weekday__gte=1, weekday__lte=7), name="shift_weekday_1_to_7"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.person}, weekday {self.weekday}, {self.starts:%H:%M}-{self.ends:%H:%M}"


class DayChange(models.Model):
    """One day that differs: away, or extra hours. Without hours the whole day is off."""

    person = models.ForeignKey(Person, models.CASCADE, related_name="day_changes")
    day = models.DateField()
    starts = models.TimeField(null=True, blank=True)
    ends = models.TimeField(null=True, blank=True)
    extra = models.BooleanField(default=False, help_text="Hours added, not taken away.")
    reason = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["day", "person", "starts"]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=models.Q(starts__isnull=True, ends__isnull=True, extra=False)
                | models.Q(starts__isnull=False, ends__gt=models.F("starts")),
                name="daychange_hours_make_sense",
                violation_error_message="Give both hours, the end after the start, or neither "
                "for a whole day off.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.person}, {self.day}"


class ClosedDay(models.Model):
    """A day on which nobody works at the site."""

    site = models.ForeignKey("shared.Site", models.CASCADE, related_name="closed_days")
    day = models.DateField()
    reason = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["site", "day"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["site", "day"], name="closedday_once"),
        ]

    def __str__(self) -> str:
        return f"{self.site}: {self.day}"


class ExpectedTemperature(models.Model):
    """The shop temperature expected on one day, where it differs from the site's usual."""

    site = models.ForeignKey("shared.Site", models.CASCADE, related_name="expected_temperatures")
    day = models.DateField()
    shop_c = models.DecimalField("shop temperature, °C", max_digits=4, decimal_places=1)

    class Meta:
        ordering = ["site", "day"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["site", "day"], name="expectedtemperature_once"),
            models.CheckConstraint(
                condition=models.Q(shop_c__gte=0, shop_c__lte=45),
                name="expectedtemperature_0_to_45",
                violation_error_message="The shop temperature must be 0 to 45 °C.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.site}: {self.shop_c} °C on {self.day}"


class Mixer(SiteThing):
    """A mixer with its vessel."""

    largest_kg = models.DecimalField(**KG)
    least_kg = models.DecimalField(**KG, default=0)

    class Meta(SiteThing.Meta):
        constraints: ClassVar = [
            *SiteThing.Meta.constraints,
            models.CheckConstraint(
                condition=models.Q(least_kg__gte=0, largest_kg__gt=models.F("least_kg")),
                name="mixer_largest_above_least",
                violation_error_message="largest_kg must be above least_kg, and least_kg 0 kg or "
                "more.",
            ),
        ]


class Scale(SiteThing):
    """A scale: what it can carry and the smallest step it shows."""

    capacity_kg = models.DecimalField(**KG)
    readability_g = models.DecimalField(max_digits=8, decimal_places=3)
    next_check_on = models.DateField(null=True, blank=True)

    class Meta(SiteThing.Meta):
        constraints: ClassVar = [
            *SiteThing.Meta.constraints,
            models.CheckConstraint(
                condition=models.Q(capacity_kg__gt=0, readability_g__gt=0),
                name="scale_capacity_and_readability_positive",
                violation_error_message="capacity_kg and readability_g must be above 0.",
            ),
        ]


class PlaceKind(models.TextChoices):
    BENCH = "bench", "Bench"
    OVEN = "oven", "Oven"
    FLOOR = "floor", "Floor space"


class Place(SiteThing):
    """Where a tool stands while it is cast and cures."""

    kind = models.CharField(max_length=12, choices=PlaceKind.choices, default=PlaceKind.BENCH)
    capacity = models.PositiveSmallIntegerField(default=1, validators=[MinValueValidator(1)])

    class Meta(SiteThing.Meta):
        constraints: ClassVar = [
            *SiteThing.Meta.constraints,
            models.CheckConstraint(
                condition=models.Q(capacity__gte=1), name="place_capacity_at_least_one"
            ),
        ]


class Outage(models.Model):
    """A stretch of time in which one mixer or one place cannot be used."""

    site = models.ForeignKey("shared.Site", models.CASCADE, related_name="outages")
    mixer = models.ForeignKey(Mixer, models.CASCADE, null=True, blank=True, related_name="outages")
    place = models.ForeignKey(Place, models.CASCADE, null=True, blank=True, related_name="outages")
    starts_at = models.DateTimeField()
    ends_at = models.DateTimeField()
    reason = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["site", "starts_at", "id"]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=models.Q(mixer__isnull=False, place__isnull=True)
                | models.Q(mixer__isnull=True, place__isnull=False),
                name="outage_of_one_thing",
                violation_error_message="Name a mixer or a place, one of the two.",
            ),
            models.CheckConstraint(
                condition=models.Q(ends_at__gt=models.F("starts_at")),
                name="outage_ends_after_start",
                violation_error_message="ends_at must be later than starts_at.",
            ),
        ]
        indexes: ClassVar = [models.Index(fields=["site", "ends_at"], name="outage_by_end")]

    def __str__(self) -> str:
        return f"{self.thing} from {self.starts_at:%Y-%m-%d %H:%M}"

    @property
    def thing(self) -> Mixer | Place:
        """Return the mixer or the place."""
        found = self.mixer or self.place
        assert found is not None, "held by a constraint of the table"
        return found


class Location(SiteThing):
    """A shelf or store, with the temperature it is kept at."""

    lowest_c = models.DecimalField(max_digits=4, decimal_places=1, default=Decimal(15))
    highest_c = models.DecimalField(max_digits=4, decimal_places=1, default=Decimal(25))

    class Meta(SiteThing.Meta):
        constraints: ClassVar = [
            *SiteThing.Meta.constraints,
            models.CheckConstraint(
                condition=models.Q(highest_c__gte=models.F("lowest_c")),
                name="location_highest_not_below_lowest",
                violation_error_message="highest_c must not be below lowest_c.",
            ),
        ]


class StorageSpell(models.Model):
    """How warm a shelf really was over a stretch of time."""

    location = models.ForeignKey(Location, models.CASCADE, related_name="spells")
    starts_at = models.DateTimeField()
    ends_at = models.DateTimeField()
    lowest_c = models.DecimalField(max_digits=4, decimal_places=1)
    mean_c = models.DecimalField(max_digits=4, decimal_places=1)
    highest_c = models.DecimalField(max_digits=4, decimal_places=1)

    class Meta:
        ordering = ["location", "starts_at"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["location", "starts_at"], name="storagespell_once"),
            models.CheckConstraint(
                condition=models.Q(ends_at__gt=models.F("starts_at")),
                name="storagespell_ends_after_start",
                violation_error_message="ends_at must be later than starts_at.",
            ),
            models.CheckConstraint(
                condition=models.Q(
                    mean_c__gte=models.F("lowest_c"), highest_c__gte=models.F("mean_c")
                ),
                name="storagespell_in_order",
                violation_error_message="mean_c must lie between lowest_c and highest_c.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.location}: {self.mean_c} °C from {self.starts_at:%Y-%m-%d %H:%M}"
