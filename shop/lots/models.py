"""Lots as received and the containers they came in."""

from __future__ import annotations

from typing import ClassVar

from django.core.validators import RegexValidator
from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Upper

QUANTITY = {"max_digits": 14, "decimal_places": 4}
"""0.1 g steps where the unit is kg; never made coarser."""

LOT_CODE = RegexValidator(
    r"\A[!-~][ -~]{0,39}\Z", "Use printable ASCII, at most 40 characters, the first not a space."
)


class LotStatus(models.TextChoices):
    QUARANTINE = "quarantine", "Quarantine"
    RELEASED = "released", "Released for use"
    HELD = "held", "Held"
    FINISHED = "finished", "Finished"


class Lot(models.Model):
    """One maker's production run of a material, as received at a site."""

    site = models.ForeignKey("shared.Site", models.PROTECT, related_name="+")
    material = models.ForeignKey("shop.Material", models.PROTECT, related_name="lots")
    supplier = models.ForeignKey(
        "shop.Supplier", models.PROTECT, null=True, blank=True, related_name="+"
    )
    code = models.CharField(max_length=40, validators=[LOT_CODE])
    received_on = models.DateField()
    made_on = models.DateField(null=True, blank=True)
    expires_on = models.DateField(
        null=True, blank=True, help_text="Usable to the end of this day; empty: does not expire."
    )
    status = models.CharField(
        max_length=12, choices=LotStatus.choices, default=LotStatus.QUARANTINE
    )
    status_reason = models.CharField(max_length=200, blank=True)
    status_at = models.DateTimeField(
        null=True, blank=True, editable=False, help_text="Since when; empty: not recorded."
    )
    unit_cost = models.DecimalField(max_digits=12, decimal_places=4, null=True, blank=True)
    certificate = models.CharField(max_length=200, blank=True)
    certificate_file = models.FileField(upload_to="certificates/", blank=True)
    retested_on = models.DateField(null=True, blank=True)
    retest_evidence = models.CharField(max_length=200, blank=True)
    retested_by = models.ForeignKey(
        "shared.User", models.SET_NULL, null=True, blank=True, related_name="+"
    )
    expiry_note = models.CharField(
        max_length=500, blank=True, help_text="What the expiry was before it was put right."
    )
    mixed = models.BooleanField(
        default=False, editable=False, help_text="Poured together here from several lots."
    )
    version = models.PositiveIntegerField(default=1, editable=False)

    class Meta:
        ordering = [F("expires_on").asc(nulls_last=True), "code", "id"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                "site", "material", "supplier", Upper("code"), name="lot_once_in_any_case"
            ),
            models.UniqueConstraint(
                "site",
                "material",
                Upper("code"),
                condition=Q(supplier__isnull=True),
                name="lot_once_in_any_case_without_supplier",
            ),
            models.CheckConstraint(
                condition=Q(made_on__isnull=True)
                | Q(expires_on__isnull=True)
                | Q(expires_on__gte=F("made_on")),
                name="lot_expires_after_made",
                violation_error_message="expires_on must not be before made_on.",
            ),
        ]
        indexes: ClassVar = [
            models.Index(fields=["site", "material", "status", "expires_on"], name="lot_usable"),
            # The order every list of lots is read in, a page at a time.
            models.Index(fields=["site", "expires_on", "code"], name="lot_next_to_expire"),
        ]

    def __str__(self) -> str:
        return f"{self.material_id}:{self.code}"


class Container(models.Model):
    """One can, drum or pack of a lot; `balance` and `reserved` are kept by the ledger alone."""

    lot = models.ForeignKey(Lot, models.PROTECT, related_name="containers")
    code = models.CharField(max_length=60, unique=True)
    location = models.ForeignKey(
        "shop.Location", models.PROTECT, null=True, blank=True, related_name="+"
    )
    opened_at = models.DateTimeField(null=True, blank=True)
    consignment = models.ForeignKey(
        "shop.Consignment", models.PROTECT, null=True, blank=True, editable=False,
        related_name="+", help_text="By which it is on the way; nobody takes from it.",
    )  # fmt: skip
    balance = models.DecimalField(**QUANTITY, default=0, editable=False)
    reserved = models.DecimalField(**QUANTITY, default=0, editable=False)

    class Meta:
        ordering = ["code"]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(balance__gte=0), name="container_balance_not_below_0"
            ),
            models.CheckConstraint(
                condition=Q(reserved__gte=0), name="container_reserved_not_below_0"
            ),
            models.CheckConstraint(
                condition=Q(reserved__lte=F("balance")), name="container_reserved_within_balance"
            ),
        ]

    def __str__(self) -> str:
        return self.code


class Placement(models.Model):
    """A shelf a container was put on, and when; where it stood tells how warm it was kept."""

    container = models.ForeignKey(Container, models.CASCADE, related_name="placements")
    location = models.ForeignKey("shop.Location", models.PROTECT, related_name="+")
    since = models.DateTimeField()
    by = models.ForeignKey("shared.User", models.SET_NULL, null=True, related_name="+")

    class Meta:
        ordering = ["container", "since", "id"]

    def __str__(self) -> str:
        return f"{self.container} at {self.location}"
