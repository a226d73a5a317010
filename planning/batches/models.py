"""Lifts and batches as planned and poured: what to weigh, what was weighed, what paper said."""

from __future__ import annotations

from decimal import Decimal
from typing import ClassVar

from django.db import models
from django.db.models import F, Q

EXACT_KG = {"max_digits": 16, "decimal_places": 8}
"""As planned, before rounding to a scale: parts must still add up to their whole."""


class Lift(models.Model):
    """One layer of a pour, cast as one."""

    pour = models.ForeignKey("planning.Pour", models.CASCADE, related_name="lifts")
    number = models.PositiveSmallIntegerField()
    depth_mm = models.DecimalField(max_digits=12, decimal_places=6)
    mass_kg = models.DecimalField(**EXACT_KG)
    planned_start = models.DateTimeField()
    planned_end = models.DateTimeField()
    place = models.ForeignKey("shop.Place", models.PROTECT, null=True, related_name="+")
    abrade_first = models.BooleanField(default=False)
    expected_c = models.DecimalField(
        "shop temperature the times hold at, °C", max_digits=4, decimal_places=1, default=20
    )
    attend_min = models.PositiveIntegerField(default=0, help_text="To its peak temperature.")
    gap_least_min = models.PositiveIntegerField(default=0, help_text="To the next lift.")
    gap_greatest_min = models.PositiveIntegerField(default=0, help_text="While it still bonds.")

    class Meta:
        ordering = ["pour", "number"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["pour", "number"], name="lift_number_once"),
            models.CheckConstraint(
                condition=Q(depth_mm__gt=0, mass_kg__gt=0), name="lift_depth_and_mass_positive"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.pour} lift {self.number}"


class BatchCounter(models.Model):
    """The last batch number given at a site in a year; numbers are never given twice."""

    site = models.ForeignKey("shared.Site", models.CASCADE, related_name="+")
    year = models.PositiveSmallIntegerField()
    last = models.PositiveIntegerField(default=0)

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["site", "year"], name="batchcounter_once"),
        ]

    def __str__(self) -> str:
        return f"{self.site_id}/{self.year}: {self.last}"


class BatchStatus(models.TextChoices):
    PLANNED = "planned", "Planned"
    WEIGHING = "weighing", "Being weighed"
    WEIGHED = "weighed", "Weighed"
    MIXING = "mixing", "Mixed, pot life running"
    POURED = "poured", "Poured"
    SCRAPPED = "scrapped", "Scrapped"
    CANCELLED = "cancelled", "Cancelled"


class Batch(models.Model):
    """One mix, one pot, one clock; numbered when its plan is confirmed."""

    site = models.ForeignKey("shared.Site", models.PROTECT, related_name="+")
    number = models.CharField(max_length=20)
    plan = models.ForeignKey(
        "planning.WeekPlan", models.PROTECT, null=True, related_name="batches"
    )
    system = models.ForeignKey("shop.ResinSystem", models.PROTECT, related_name="+")
    mixer = models.ForeignKey("shop.Mixer", models.PROTECT, null=True, related_name="+")
    scale = models.ForeignKey("shop.Scale", models.PROTECT, null=True, related_name="+")
    people = models.ManyToManyField("shop.Person", related_name="+")
    status = models.CharField(max_length=10, choices=BatchStatus.choices, default="planned")
    mixed_kg = models.DecimalField(**EXACT_KG)
    planned_start = models.DateTimeField()
    planned_contact = models.DateTimeField()
    planned_pour_start = models.DateTimeField()
    planned_pour_end = models.DateTimeField()
    planned_end = models.DateTimeField()
    pot_life_min = models.PositiveIntegerField(help_text="At the temperature expected then.")
    pot_life_basis = models.CharField(max_length=200, blank=True)
    mix_c = models.DecimalField(
        "planned temperature of the mix, °C",
        max_digits=4,
        decimal_places=1,
        null=True,
        blank=True,
        help_text="Empty: as warm as the shop is expected to be.",
    )
    contact_at = models.DateTimeField(null=True, blank=True)
    poured_at = models.DateTimeField(null=True, blank=True)
    printed_at = models.DateTimeField(null=True, blank=True)
    pinned = models.BooleanField(default=False)
    version = models.PositiveIntegerField(default=1, editable=False)

    class Meta:
        ordering = ["planned_start", "number"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["site", "number"], name="batch_number_once"),
            models.CheckConstraint(
                condition=Q(mixed_kg__gt=0, pot_life_min__gt=0), name="batch_mass_positive"
            ),
            models.CheckConstraint(
                condition=Q(planned_contact__gte=F("planned_start"))
                & Q(planned_pour_end__gte=F("planned_pour_start"))
                & Q(planned_end__gte=F("planned_pour_end")),
                name="batch_times_in_order",
            ),
        ]
        indexes: ClassVar = [models.Index(fields=["site", "planned_start"], name="batch_by_day")]

    def __str__(self) -> str:
        return self.number


class BatchPortion(models.Model):
    """The part of a batch that goes into one lift."""

    batch = models.ForeignKey(Batch, models.CASCADE, related_name="portions")
    lift = models.ForeignKey(Lift, models.PROTECT, related_name="portions")
    kg = models.DecimalField(**EXACT_KG)
    order = models.PositiveSmallIntegerField()
    planned_start = models.DateTimeField()
    planned_end = models.DateTimeField()
    poured_kg = models.DecimalField(max_digits=10, decimal_places=4, null=True, blank=True)
    poured_at = models.DateTimeField(null=True, blank=True)
    lost_kg = models.DecimalField(
        max_digits=10,
        decimal_places=4,
        default=0,
        help_text="Of it, what ran out or never went in: the lift ends lower by that.",
    )

    class Meta:
        ordering = ["batch", "order"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["batch", "order"], name="batchportion_order_once"),
            models.CheckConstraint(condition=Q(kg__gt=0), name="batchportion_kg_positive"),
        ]

    def __str__(self) -> str:
        return f"{self.batch} into {self.lift}"


class BatchLine(models.Model):
    """What to weigh into a batch from one container: the sheet's row."""

    batch = models.ForeignKey(Batch, models.CASCADE, related_name="lines")
    order = models.PositiveSmallIntegerField()
    role = models.CharField(max_length=20, help_text="resin, hardener, or as the system names it.")
    container = models.ForeignKey("shop.Container", models.PROTECT, related_name="+")
    exact_kg = models.DecimalField(**EXACT_KG)
    target_kg = models.DecimalField(
        max_digits=10, decimal_places=4, help_text="Rounded to the scale's readability."
    )
    low_kg = models.DecimalField(max_digits=10, decimal_places=4)
    high_kg = models.DecimalField(max_digits=10, decimal_places=4)

    class Meta:
        ordering = ["batch", "order"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["batch", "order"], name="batchline_order_once"),
            models.CheckConstraint(
                condition=Q(target_kg__gt=0)
                & Q(low_kg__lte=F("target_kg"))
                & Q(high_kg__gte=F("target_kg")),
                name="batchline_target_in_range",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.batch} {self.role}"


class Weighing(models.Model):
    """Material off the scale for one row of the sheet; `key` makes a repeat harmless."""

    line = models.ForeignKey("planning.BatchLine", models.PROTECT, related_name="weighings")
    key = models.CharField(max_length=120, unique=True)
    container = models.ForeignKey("shop.Container", models.PROTECT, related_name="+")
    weighed_kg = models.DecimalField(max_digits=10, decimal_places=4)
    at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    by = models.ForeignKey("shared.User", models.PROTECT, null=True, related_name="+")
    reason = models.CharField(max_length=200, blank=True, help_text="For another lot, or more.")

    class Meta:
        ordering = ["line", "id"]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(weighed_kg__gt=0),
                name="weighing_positive",
                violation_error_message="weighed_kg must be above 0 kg.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.line}: {self.weighed_kg} kg"

    @property
    def kg(self) -> Decimal:
        """Return what counts: the last amendment, else what was written down first, kg."""
        amended = list(self.amendments.all())
        return amended[-1].to_kg if amended else self.weighed_kg


class EntryKind(models.TextChoices):
    CONTACT = "contact", "First contact: mixing began"
    SECOND_CONTAINER = "second_container", "Into the second container"
    POUR_STARTED = "pour_started", "Pouring began"
    POURED = "poured", "Poured"
    CONDITIONS = "conditions", "Air, surface and humidity"
    STIRRED = "stirred", "Can is stirred"
    UNSTIRRED = "unstirred", "Weighed from a can that was not stirred"
    MIXED = "mixed", "Mixed"
    CAN_EMPTY = "can_empty", "Can is empty"
    NO_MORE = "no_more", "No more goes into this row"
    HOT_POT = "hot_pot", "Hot pot"
    SPILL = "spill", "Spill or splash"
    LEAK_SEEN = "leak_seen", "Leak seen"
    SHORT_SEEN = "short_seen", "The pot is short"
    ALL_CLEAR = "all_clear", "Trouble is over"
    REWEIGHED = "reweighed", "Weighing amended"
    SCRAPPED = "scrapped", "Pot scrapped"
    LEAK = "leak", "Barrier leaked"
    SHORT = "short", "Poured short"
    REMARK = "remark", "Remark"
    AMENDMENT = "amendment", "Amendment of an earlier entry"


ALARMS = (EntryKind.HOT_POT, EntryKind.LEAK_SEEN, EntryKind.SPILL, EntryKind.SHORT_SEEN)
"""Trouble told by one tap; each stays open until somebody says that it is over."""


class BatchEntry(models.Model):
    """A record in a batch's log."""

    batch = models.ForeignKey("planning.Batch", models.PROTECT, related_name="entries")
    key = models.CharField(max_length=120, unique=True)
    kind = models.CharField(max_length=20, choices=EntryKind.choices)
    at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    by = models.ForeignKey("shared.User", models.PROTECT, null=True, related_name="+")
    portion = models.ForeignKey(
        "planning.BatchPortion", models.PROTECT, null=True, blank=True, related_name="+"
    )
    line = models.ForeignKey(
        "planning.BatchLine", models.PROTECT, null=True, blank=True, related_name="+"
    )
    container = models.ForeignKey(
        "shop.Container",
        models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
        help_text="The can that was stirred, or ran empty.",
    )
    amends = models.ForeignKey(
        "self", models.PROTECT, null=True, blank=True, related_name="amendments"
    )
    facts = models.JSONField(
        default=dict, blank=True, help_text="kg, air_c, surface_c, humidity_percent, dew_point_c."
    )
    words = models.CharField(max_length=400, blank=True)
    photo = models.FileField(upload_to="batch_photos/", blank=True)

    class Meta:
        ordering = ["batch", "at", "id"]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(kind="amendment", amends__isnull=False)
                | (~Q(kind="amendment") & Q(amends__isnull=True)),
                name="batchentry_amendment_names_its_original",
            ),
        ]
        # Every open page asks for open alarms every few seconds.
        indexes: ClassVar = [
            models.Index(
                fields=["batch", "at"],
                condition=Q(kind__in=["hot_pot", "leak_seen", "spill", "short_seen"]),
                name="batchentry_alarms",
            )
        ]

    def __str__(self) -> str:
        return f"{self.batch}: {self.get_kind_display()}"


class SheetPrint(models.Model):
    """One printing of a day's sheet, with the plan as it stood on it."""

    site = models.ForeignKey("shared.Site", models.CASCADE, related_name="+")
    day = models.DateField()
    printed_at = models.DateTimeField()
    by = models.ForeignKey("shared.User", models.PROTECT, null=True, related_name="+")
    revision = models.CharField(max_length=60)
    planned = models.JSONField(default=dict, help_text="What was to be done, by what it is.")

    class Meta:
        ordering = ["-printed_at", "-id"]
        indexes: ClassVar = [models.Index(fields=["site", "day"], name="sheetprint_by_day")]

    def __str__(self) -> str:
        return f"Sheet of {self.day}, printed {self.printed_at:%Y-%m-%d %H:%M}"
