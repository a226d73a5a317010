"""Changes to the catalogue that one person proposes and another releases."""

from __future__ import annotations

from typing import ClassVar

from django.core.serializers.json import DjangoJSONEncoder
from django.db import models
from django.db.models import F, Q


class CatalogueRules(models.Model):
    """What the company asks for when the catalogue changes; there is one row at most."""

    two_signatures = models.BooleanField(
        default=False, help_text="Values that people mix and buy by take a second signature."
    )
    orders_by_two = models.BooleanField(
        default=False, help_text="Who writes a purchase order does not approve it."
    )
    version = models.PositiveIntegerField(default=1, editable=False)

    class Meta:
        verbose_name = verbose_name_plural = "rules of the catalogue"
        constraints: ClassVar = [
            models.CheckConstraint(condition=Q(pk=1), name="cataloguerules_one_row"),
        ]

    def __str__(self) -> str:
        return "two signatures" if self.two_signatures else "one signature"


class ChangeAct(models.TextChoices):
    CHANGE = "change", "Change"
    ADD = "add", "Add"
    REMOVE = "remove", "Take away"


class ChangeState(models.TextChoices):
    WAITING = "waiting", "Waits for a second signature"
    RELEASED = "released", "Released, not yet in force"
    IN_FORCE = "in_force", "In force"
    DECLINED = "declined", "Declined"
    OVERTAKEN = "overtaken", "Overtaken by another change"


class CatalogueChange(models.Model):
    """
    A change to a row that all sites work by, from proposal to the day it holds.

    `before` and `after` keep the guarded values by field, so that what held earlier can be read
    for ever. The row is named by its register and id, since it may be taken away.
    """

    register = models.CharField(max_length=40)
    row_id = models.PositiveBigIntegerField(null=True, blank=True)
    row_name = models.CharField(max_length=200)
    act = models.CharField(max_length=8, choices=ChangeAct.choices, default=ChangeAct.CHANGE)
    before = models.JSONField(default=dict, blank=True, encoder=DjangoJSONEncoder)
    after = models.JSONField(default=dict, blank=True, encoder=DjangoJSONEncoder)
    valid_from = models.DateField(help_text="From 00:00 UTC of this day on.")
    reason = models.CharField(max_length=300)
    touches = models.JSONField(
        default=list, blank=True, help_text="Planned work it touches, as it was when proposed."
    )
    state = models.CharField(
        max_length=10, choices=ChangeState.choices, default=ChangeState.WAITING
    )
    proposed_at = models.DateTimeField()
    proposed_by = models.ForeignKey("shared.User", models.PROTECT, related_name="+")
    decided_at = models.DateTimeField(null=True, blank=True)
    decided_by = models.ForeignKey(
        "shared.User", models.PROTECT, null=True, blank=True, related_name="+"
    )
    decision_reason = models.CharField(max_length=300, blank=True)
    in_force_at = models.DateTimeField(null=True, blank=True)
    version = models.PositiveIntegerField(default=1, editable=False)

    class Meta:
        ordering = ["-id"]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=~Q(reason=""),
                name="cataloguechange_has_reason",
                violation_error_message="A change needs a reason.",
            ),
            models.CheckConstraint(
                condition=Q(state="waiting", decided_by__isnull=True, decided_at__isnull=True)
                | Q(~Q(state="waiting"), decided_by__isnull=False, decided_at__isnull=False),
                name="cataloguechange_decided_by_somebody",
            ),
            models.CheckConstraint(
                condition=Q(decided_by__isnull=True)
                | ~Q(decided_by=F("proposed_by"))
                | Q(state="declined")
                | ~Q(decision_reason=""),
                name="cataloguechange_own_release_has_reason",
                violation_error_message="Who releases a change of their own gives a reason.",
            ),
            models.CheckConstraint(
                condition=Q(state="in_force", in_force_at__isnull=False)
                | Q(~Q(state="in_force"), in_force_at__isnull=True),
                name="cataloguechange_in_force_at",
            ),
        ]
        indexes: ClassVar = [
            models.Index(fields=["state", "valid_from"], name="cataloguechange_due"),
            models.Index(fields=["register", "row_id"], name="cataloguechange_row"),
        ]

    def __str__(self) -> str:
        return f"{self.get_act_display()}: {self.row_name}"
