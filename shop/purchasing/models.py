"""Purchase orders and their lines; what has come in of a line is read from the ledger."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import ClassVar

from django.core.validators import MaxValueValidator
from django.db import models
from django.db.models import Q

from shop.lots.models import QUANTITY


class OrderStatus(models.TextChoices):
    DRAFT = "draft", "Draft"
    APPROVED = "approved", "Approved, not sent"
    ORDERED = "ordered", "Ordered"
    CONFIRMED = "confirmed", "Confirmed by the supplier"
    RECEIVED = "received", "All received"
    CLOSED = "closed", "Closed"
    CANCELLED = "cancelled", "Cancelled"


COMING = (OrderStatus.APPROVED, OrderStatus.ORDERED, OrderStatus.CONFIRMED)
"""Orders whose goods count as receipts due."""


class PurchaseOrder(models.Model):
    """Goods asked of one supplier for one site."""

    site = models.ForeignKey("shared.Site", models.PROTECT, related_name="+")
    supplier = models.ForeignKey("shop.Supplier", models.PROTECT, related_name="orders")
    status = models.CharField(
        max_length=12, choices=OrderStatus.choices, default=OrderStatus.DRAFT
    )
    currency = models.CharField(max_length=3)
    remarks = models.CharField(max_length=400, blank=True)
    supplier_reference = models.CharField(max_length=80, blank=True)
    created_at = models.DateTimeField()
    created_by = models.ForeignKey("shared.User", models.PROTECT, null=True, related_name="+")
    approved_at = models.DateTimeField(null=True, blank=True)
    approved_by = models.ForeignKey("shared.User", models.PROTECT, null=True, related_name="+")
    ordered_at = models.DateTimeField(null=True, blank=True)
    mailed_at = models.DateTimeField(null=True, blank=True)
    mail_error = models.CharField(max_length=300, blank=True)
    confirmed_at = models.DateTimeField(null=True, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)
    end_reason = models.CharField(max_length=200, blank=True)
    version = models.PositiveIntegerField(default=1, editable=False)

    class Meta:
        ordering = ["-id"]
        indexes: ClassVar = [models.Index(fields=["site", "status"], name="order_by_status")]

    def __str__(self) -> str:
        return self.number

    @property
    def number(self) -> str:
        """The number the supplier quotes."""
        return f"PO-{self.pk}"


class PurchaseOrderLine(models.Model):
    """So many packs of one material, wanted on a day."""

    order = models.ForeignKey(PurchaseOrder, models.CASCADE, related_name="lines")
    material = models.ForeignKey("shop.Material", models.PROTECT, related_name="+")
    pack_name = models.CharField(max_length=60)
    supplier_item = models.CharField(max_length=60, blank=True)
    content = models.DecimalField(**QUANTITY, help_text="Of one pack, in the material's unit.")
    packs = models.PositiveIntegerField()
    pack_price = models.DecimalField(max_digits=12, decimal_places=4, null=True, blank=True)
    expected_on = models.DateField()
    least_life_days = models.PositiveSmallIntegerField(
        null=True,
        blank=True,
        validators=[MaxValueValidator(3650)],
        help_text="Shelf life that must be left on arrival, as ordered; empty: nothing was asked.",
    )
    confirmed_on = models.DateField(null=True, blank=True)
    confirmed_packs = models.PositiveIntegerField(null=True, blank=True)

    class Meta:
        ordering = ["id"]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(packs__gte=1, content__gt=0),
                name="order_line_positive",
                violation_error_message="packs must be 1 or more and content above 0.",
            ),
            models.CheckConstraint(
                condition=Q(pack_price__isnull=True) | Q(pack_price__gte=0),
                name="order_line_price_not_below_0",
                violation_error_message="pack_price must be 0 or more.",
            ),
        ]
        indexes: ClassVar = [models.Index(fields=["material"], name="order_line_by_material")]

    def __str__(self) -> str:
        return f"{self.packs} × {self.pack_name} of {self.material}"

    @property
    def counterpart(self) -> str:
        """What the ledger calls this line as the other side of a receipt."""
        return f"order-line:{self.pk}"

    @property
    def quantity(self) -> Decimal:
        """What was ordered, in the material's unit."""
        return self.content * self.packs

    @property
    def life_asked(self) -> int | None:
        """Shelf life that must be left on arrival: as ordered, else as agreed."""
        if self.least_life_days is None:
            return self.order.supplier.least_life_days
        return self.least_life_days

    @property
    def coming_quantity(self) -> Decimal:
        """What the supplier says will come: as confirmed, else as ordered."""
        packs = self.packs if self.confirmed_packs is None else self.confirmed_packs
        return self.content * packs

    @property
    def due_on(self) -> date:
        """The day it is due: as confirmed, else as asked."""
        return self.confirmed_on or self.expected_on

    @property
    def cost(self) -> Decimal | None:
        """Price of the line, without tax."""
        return None if self.pack_price is None else self.pack_price * self.packs


class MailState(models.TextChoices):
    WAITING = "waiting", "Waiting to be sent"
    SENDING = "sending", "Being sent"
    SENT = "sent", "Sent"
    FAILED = "failed", "Not sent"


class OrderMail(models.Model):
    """An order on its way to the supplier's mail server; `mailing` alone moves it on."""

    order = models.ForeignKey(PurchaseOrder, models.CASCADE, related_name="mails")
    address = models.EmailField()
    state = models.CharField(max_length=8, choices=MailState.choices, default=MailState.WAITING)
    asked_at = models.DateTimeField()
    try_at = models.DateTimeField()
    attempts = models.PositiveSmallIntegerField(default=0)
    claimed_by = models.CharField(max_length=16, blank=True)
    lease_until = models.DateTimeField(null=True, blank=True)
    sent_at = models.DateTimeField(null=True, blank=True)
    error = models.CharField(max_length=300, blank=True)
    doubtful = models.BooleanField(
        default=False, help_text="An attempt broke off that may have arrived."
    )

    class Meta:
        ordering = ["-id"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["order"],
                condition=Q(state__in=["waiting", "sending"]),
                name="ordermail_one_under_way",
            ),
        ]
        indexes: ClassVar = [models.Index(fields=["state", "try_at"], name="ordermail_due")]

    def __str__(self) -> str:
        return f"{self.order_id} to {self.address}: {self.state}"
