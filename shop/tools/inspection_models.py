"""What an inspection looks at and finds, what a repair used, and why tools are retired."""

from __future__ import annotations

from decimal import Decimal
from typing import Any, ClassVar

from django.core.exceptions import ValidationError
from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import F, Q

from shop.sites.models import SiteThing
from shop.tools.models import Tool, ToolEvent, ToolFamily

DIMENSION: dict[str, Any] = {"max_digits": 12, "decimal_places": 4}
QUANTITY: dict[str, Any] = {"max_digits": 14, "decimal_places": 4}
NOT_BELOW_ZERO = MinValueValidator(Decimal(0))
OF_MEASURED = ("nominal", "may_be_below", "may_be_above")


class Checkpoint(SiteThing):
    """
    One line of the checklist of a tool, or of all tools of a family.

    With a unit it is measured, and has a nominal value and how far it may be off; without one it
    is answered by yes or no.
    """

    tool = models.ForeignKey(
        Tool, models.PROTECT, null=True, blank=True, related_name="checkpoints"
    )
    family = models.ForeignKey(
        ToolFamily, models.PROTECT, null=True, blank=True, related_name="checkpoints"
    )
    unit = models.CharField(
        max_length=12, blank=True, help_text="Of what is measured, such as mm; empty: yes or no."
    )
    nominal = models.DecimalField(**DIMENSION, null=True, blank=True)
    may_be_below = models.DecimalField(
        **DIMENSION, null=True, blank=True, validators=[NOT_BELOW_ZERO],
        help_text="How far it may be below nominal.",
    )  # fmt: skip
    may_be_above = models.DecimalField(
        **DIMENSION, null=True, blank=True, validators=[NOT_BELOW_ZERO],
        help_text="How far it may be above nominal.",
    )  # fmt: skip
    gauge_step = models.DecimalField(
        **DIMENSION, null=True, blank=True, validators=[NOT_BELOW_ZERO],
        help_text="Smallest step of the gauge; empty: not known.",
    )  # fmt: skip

    class Meta(SiteThing.Meta):
        constraints: ClassVar = [
            *SiteThing.Meta.constraints,
            models.CheckConstraint(
                condition=Q(tool=None, family__isnull=False) | Q(tool__isnull=False, family=None),
                name="checkpoint_of_one_tool_or_family",
                violation_error_message="Give tool or family, not both.",
            ),
            models.CheckConstraint(
                condition=Q(unit="", nominal=None, may_be_below=None, may_be_above=None)
                | (
                    ~Q(unit="")
                    & Q(nominal__isnull=False, may_be_below__gte=0, may_be_above__gte=0)
                ),
                name="checkpoint_measured_has_tolerance",
                violation_error_message=(
                    "nominal, may_be_below and may_be_above go with a unit; without one leave "
                    "them empty."
                ),
            ),
        ]

    @property
    def lowest(self) -> Decimal | None:
        """Return the least that is still good, where it is measured."""
        if self.nominal is None or self.may_be_below is None:
            return None
        return self.nominal - self.may_be_below

    @property
    def highest(self) -> Decimal | None:
        """Return the most that is still good, where it is measured."""
        if self.nominal is None or self.may_be_above is None:
            return None
        return self.nominal + self.may_be_above

    def clean(self) -> None:
        """Refuse a tool or family of another site."""
        for name in ("tool", "family"):
            row = getattr(self, name)
            if row is not None and row.site_id != self.site_id:
                raise ValidationError({name: f"{name} {row} belongs to another site."})


class ToolFinding(models.Model):
    """
    What one inspection found at one checkpoint, beside the limits as they were then.

    Only added: a wrong one goes with its inspection, which is withdrawn and entered anew.
    """

    event = models.ForeignKey(ToolEvent, models.PROTECT, related_name="findings")
    checkpoint = models.ForeignKey(Checkpoint, models.PROTECT, related_name="findings")
    value = models.DecimalField(**DIMENSION, null=True, blank=True)
    good = models.BooleanField(null=True, blank=True)
    lowest = models.DecimalField(**DIMENSION, null=True, blank=True)
    highest = models.DecimalField(**DIMENSION, null=True, blank=True)
    words = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["event", "checkpoint"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["event", "checkpoint"], name="toolfinding_once"),
            models.CheckConstraint(
                condition=Q(value=None, good__isnull=False, lowest=None, highest=None)
                | Q(value__isnull=False, good=None, lowest__lte=F("highest")),
                name="toolfinding_measured_or_answered",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.checkpoint}: {self.value if self.good is None else self.good}"

    @property
    def passes(self) -> bool:
        """Tell whether it was good when it was looked at; both limits are still good."""
        if self.value is None or self.lowest is None or self.highest is None:
            return bool(self.good)
        return self.lowest <= self.value <= self.highest


class RepairLot(models.Model):
    """What a repair took of one can: adhesive, resin, gel coat."""

    event = models.ForeignKey(ToolEvent, models.PROTECT, related_name="used")
    container = models.ForeignKey("shop.Container", models.PROTECT, related_name="+")
    quantity = models.DecimalField(**QUANTITY)
    movement = models.OneToOneField("shop.Movement", models.PROTECT, related_name="+")

    class Meta:
        ordering = ["event", "id"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["event", "container"], name="repairlot_once"),
            models.CheckConstraint(
                condition=Q(quantity__gt=0), name="repairlot_quantity_positive"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.quantity} of {self.container}"


class RetirementReason(SiteThing):
    """A reason of the shop's own why tools are retired, beside the usual ones."""

    worn = models.BooleanField(
        default=False, help_text="Whether such a tool has come to the end of its life by use."
    )

    class Meta(SiteThing.Meta):
        pass
