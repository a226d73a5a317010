"""Purchase proposals as they were worked out, and what became of them."""

from __future__ import annotations

from decimal import ROUND_CEILING, Decimal
from typing import ClassVar

from django.db import models
from django.db.models import Q

from shop.lots.models import QUANTITY


class ProposalStatus(models.TextChoices):
    PROPOSED = "proposed", "Proposed"
    APPROVED = "approved", "Approved"
    REFUSED = "refused", "Refused"


class PurchaseProposal(models.Model):
    """An order for one material that would keep its pours supplied, with the reason in words."""

    site = models.ForeignKey("shared.Site", models.CASCADE, related_name="+")
    supplier = models.ForeignKey("shop.Supplier", models.CASCADE, related_name="+")
    material = models.ForeignKey("shop.Material", models.CASCADE, related_name="+")
    status = models.CharField(
        max_length=12, choices=ProposalStatus.choices, default=ProposalStatus.PROPOSED
    )
    order_on = models.DateField()
    arrives_on = models.DateField()
    quantity = models.DecimalField(**QUANTITY)
    packs = models.JSONField(help_text="Pairs of pack name and count.")
    covers = models.JSONField(help_text="Pairs of what it is for and how much.")
    left_over = models.DecimalField(**QUANTITY)
    usable_until = models.DateField(null=True, blank=True)
    late_for = models.JSONField(default=list)
    sentence = models.TextField()
    money_sentence = models.TextField()
    goods_cost = models.DecimalField(max_digits=14, decimal_places=2)
    currency = models.CharField(max_length=3)
    proven = models.BooleanField(help_text="No cheaper plan exists, to 0.01.")
    gap = models.DecimalField(
        max_digits=5,
        decimal_places=4,
        default=0,
        help_text="Share by which the plan is too dear at most; 0 where it is proven.",
    )
    worked_out_at = models.DateTimeField()
    decided_at = models.DateTimeField(null=True, blank=True)
    decided_by = models.ForeignKey("shared.User", models.SET_NULL, null=True, related_name="+")
    refusal = models.CharField(max_length=200, blank=True)
    order = models.ForeignKey(
        "shop.PurchaseOrder", models.SET_NULL, null=True, blank=True, related_name="proposals"
    )
    version = models.PositiveIntegerField(default=1, editable=False)

    class Meta:
        ordering = ["order_on", "supplier", "material", "id"]
        constraints: ClassVar = [
            models.CheckConstraint(condition=Q(quantity__gt=0), name="proposal_positive"),
        ]
        indexes: ClassVar = [models.Index(fields=["site", "status"], name="proposal_by_status")]

    def __str__(self) -> str:
        return f"{self.quantity} of {self.material_id} by {self.order_on}"

    @property
    def gap_percent(self) -> Decimal:
        """The gap in percent, rounded up to 0.1 %."""
        return (Decimal(self.gap) * 100).quantize(Decimal("0.1"), rounding=ROUND_CEILING)
