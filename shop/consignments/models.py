"""Goods that go from one site to another: sent, on the way, received in full or short."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal
from typing import ClassVar

from django.db import models
from django.db.models import F, Q

from shared import clock

QUANTITY = {"max_digits": 14, "decimal_places": 4}


class ConsignmentStatus(models.TextChoices):
    SENT = "sent", "On the way"
    RECEIVED = "received", "Received in full"
    SHORT = "short", "Received short"
    RETURNED = "returned", "Taken back"


class Consignment(models.Model):
    """
    Goods sent to another site.

    What is on the way lies in containers of its own, still of the sender's lots: held or recalled
    there, it is held on the way. Nobody takes from them; only the consignment moves them on.
    """

    site_path = "site"

    site = models.ForeignKey("shared.Site", models.PROTECT, related_name="+")
    to_site = models.ForeignKey("shared.Site", models.PROTECT, related_name="+")
    key = models.CharField(max_length=120, unique=True)
    status = models.CharField(
        max_length=8, choices=ConsignmentStatus.choices, default=ConsignmentStatus.SENT
    )
    sent_at = models.DateTimeField()
    sent_by = models.ForeignKey("shared.User", models.PROTECT, null=True, related_name="+")
    words = models.CharField(max_length=200, blank=True)
    due_on = models.DateField(
        null=True, blank=True, help_text="Day it is expected; empty: the day after it was sent."
    )
    ended_at = models.DateTimeField(null=True, blank=True)
    version = models.PositiveIntegerField(default=1, editable=False)

    class Meta:
        ordering = ["-id"]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=~Q(site=F("to_site")),
                name="consignment_between_two_sites",
                violation_error_message="to_site must be another site.",
            ),
        ]
        indexes: ClassVar = [models.Index(fields=["to_site", "status"], name="consignment_coming")]

    def __str__(self) -> str:
        return f"TR-{self.pk}"

    @property
    def expected_on(self) -> date:
        """Return the day it is expected; the day after it was sent is chosen here, no source."""
        sent_on: date = clock.local(self.sent_at, self.to_site).date()
        return self.due_on or sent_on + timedelta(days=1)


class ConsignmentLine(models.Model):
    """What of one container was sent, and the container in which it is on the way."""

    site_path = "consignment__site"

    consignment = models.ForeignKey(Consignment, models.PROTECT, related_name="lines")
    source = models.ForeignKey("shop.Container", models.PROTECT, related_name="+")
    transit = models.OneToOneField("shop.Container", models.PROTECT, related_name="line")
    quantity = models.DecimalField(**QUANTITY)
    lost = models.DecimalField(**QUANTITY, default=0)

    class Meta:
        ordering = ["consignment", "id"]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(quantity__gt=0, lost__gte=0, lost__lte=F("quantity")),
                name="consignmentline_quantities",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.consignment}: {self.quantity} of {self.source}"

    @property
    def on_the_way(self) -> Decimal:
        """Return what has not come in, gone back or been lost."""
        return self.transit.balance


class Arrival(models.Model):
    """The receiving site's side of a consignment."""

    site = models.ForeignKey("shared.Site", models.PROTECT, related_name="+")
    consignment = models.OneToOneField(Consignment, models.PROTECT, related_name="arrival")
    received_at = models.DateTimeField(null=True, blank=True, help_text="The latest part.")
    received_by = models.ForeignKey("shared.User", models.PROTECT, null=True, related_name="+")
    words = models.CharField(max_length=200, blank=True, help_text="Why it is short.")
    version = models.PositiveIntegerField(default=1, editable=False)

    site_path = "site"

    class Meta:
        ordering = ["-id"]

    def __str__(self) -> str:
        return str(self.consignment)
