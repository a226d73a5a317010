"""Suppliers, and the days on which they are closed."""

from __future__ import annotations

from datetime import date, timedelta
from typing import ClassVar

from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator
from django.db import models
from django.db.models import F, Q

from shared.access.models import CODE
from shop.core.supplier_calendar import SupplierCalendar

MOST_CLOSED_DAYS = 92
"""Longest closure of a supplier, neighbours included, so that an open day is always near."""
EARLIEST, LATEST = date(2000, 1, 1), date(2199, 12, 31)
"""Days a closure may name, as far as anybody plans."""


class Supplier(models.Model):
    code = models.CharField(max_length=40, unique=True, validators=[CODE])
    name = models.CharField(max_length=120)
    order_email = models.EmailField(blank=True)
    address = models.CharField(max_length=400, blank=True)
    contact = models.CharField(
        max_length=200, blank=True, help_text="Whom to ask: name, telephone."
    )
    our_account = models.CharField(
        max_length=60, blank=True, help_text="The number we have with the supplier."
    )
    terms = models.CharField(
        max_length=200, blank=True, help_text="Of payment and delivery, such as 30 days, DAP."
    )
    least_life_days = models.PositiveSmallIntegerField(
        null=True,
        blank=True,
        validators=[MaxValueValidator(3650)],
        help_text="Least shelf life left on the day goods arrive; empty: nothing is agreed.",
    )
    lead_time_days = models.PositiveSmallIntegerField(default=7)
    lead_time_sd_days = models.DecimalField(max_digits=5, decimal_places=2, default=0)
    order_cost = models.DecimalField(
        max_digits=10, decimal_places=2, default=0, help_text="What placing one order costs."
    )
    least_order = models.DecimalField(
        max_digits=12, decimal_places=2, default=0, help_text="Least value of one order."
    )
    currency = models.CharField(max_length=3, default="EUR")
    closed_weekdays = models.JSONField(
        default=list, blank=True, help_text="Weekdays without dispatch; 1 = Monday."
    )
    version = models.PositiveIntegerField(default=1, editable=False)

    class Meta:
        ordering = ["code"]

    def __str__(self) -> str:
        return self.name

    def calendar(self) -> SupplierCalendar:
        """Return when it is open; its closures are read once if they were prefetched."""
        closed = {day for one in self.closures.all() for day in one.days()}
        return SupplierCalendar(frozenset(self.closed_weekdays), frozenset(closed))

    def clean(self) -> None:
        """Refuse a week without an open day, alone or with its closures."""
        if set(self.closed_weekdays or ()) >= set(range(1, 8)):
            words = "closed_weekdays names all seven weekdays; leave one open."
            raise ValidationError({"closed_weekdays": words})


def home_currency() -> str:
    """Return the currency that suppliers have unless somebody says otherwise."""
    return str(Supplier._meta.get_field("currency").default)


class SupplierClosure(models.Model):
    """Days on which a supplier neither takes orders nor delivers: a holiday or a shutdown."""

    supplier = models.ForeignKey(Supplier, models.CASCADE, related_name="closures")
    first_day = models.DateField()
    last_day = models.DateField()
    reason = models.CharField(max_length=120, blank=True)

    class Meta:
        ordering = ["supplier", "first_day", "id"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["supplier", "first_day", "last_day"], name="supplierclosure_once"
            ),
            models.CheckConstraint(
                condition=Q(last_day__gte=F("first_day")),
                name="supplierclosure_in_order",
                violation_error_message="last_day must not be before first_day.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.supplier}: {self.first_day} to {self.last_day}"

    def days(self) -> list[date]:
        """Return every day of it."""
        length = (self.last_day - self.first_day).days + 1
        return [self.first_day + timedelta(days=n) for n in range(length)]

    def clean(self) -> None:
        """Refuse a closure across which nothing could be ordered."""
        if not (self.first_day and self.last_day) or self.last_day < self.first_day:
            return
        if not EARLIEST <= self.first_day <= self.last_day <= LATEST:
            words = f"first_day is {self.first_day}; give days from {EARLIEST} to {LATEST}."
            raise ValidationError({"first_day": words})
        days = (self.last_day - self.first_day).days + 1
        if days > MOST_CLOSED_DAYS:
            words = (
                f"last_day is {self.last_day}, which closes {days} days; "
                f"give {MOST_CLOSED_DAYS} days or less."
            )
            raise ValidationError({"last_day": words})
        others = SupplierClosure.objects.filter(supplier=self.supplier_id).exclude(pk=self.pk)
        near = others.filter(
            first_day__lte=self.last_day + timedelta(days=MOST_CLOSED_DAYS),
            last_day__gte=self.first_day - timedelta(days=MOST_CLOSED_DAYS),
        )
        closed = sum(len(one.days()) for one in near) + days
        if closed > MOST_CLOSED_DAYS:
            words = (
                f"last_day is {self.last_day}: with the closures around it {closed} days are "
                f"closed; {MOST_CLOSED_DAYS} days are the most."
            )
            raise ValidationError({"last_day": words})
