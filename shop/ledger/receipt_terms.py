"""What each receipt cost and how fresh it was, kept as it came in."""

from __future__ import annotations

from typing import ClassVar

from django.db import models
from django.db.models import Q

from shop.ledger.models import Movement


class ReceiptTerms(models.Model):
    """
    Price and shelf life of one receipt, as judged on the day it came in; only added.

    A lot that comes twice has one mean price and one expiry, which may be put right later; these
    stay as they were.
    """

    movement = models.OneToOneField(Movement, models.PROTECT, related_name="terms")
    unit_cost = models.DecimalField(max_digits=12, decimal_places=4, null=True, blank=True)
    currency = models.CharField(max_length=3, blank=True)
    life_left_days = models.IntegerField(
        null=True,
        blank=True,
        help_text="Of shelf life on the day it came; empty: does not expire.",
    )
    least_life_days = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="That was ordered; empty: nothing was agreed."
    )

    class Meta:
        ordering = ["-movement"]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(unit_cost__isnull=True) | Q(unit_cost__gte=0),
                name="receiptterms_price_not_below_0",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.movement}"

    @property
    def fresh(self) -> bool | None:
        """Tell whether it was as fresh as ordered; None where nothing was agreed."""
        if self.least_life_days is None or self.life_left_days is None:
            return None
        return self.life_left_days >= self.least_life_days
