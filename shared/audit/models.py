"""Who changed what, when, from what to what; added, never edited."""

from __future__ import annotations

from typing import ClassVar

from django.db import models


class AuditEntry(models.Model):
    """
    One change of one row.

    Names and ids are copied, not linked: the entry outlives whatever it speaks of.
    """

    at = models.DateTimeField(db_index=True)
    user_id = models.BigIntegerField(null=True)
    username = models.CharField(max_length=150, blank=True)
    token = models.CharField(max_length=12, blank=True, help_text="How the token used begins.")
    request_id = models.CharField(max_length=64, blank=True)
    site = models.ForeignKey(
        "shared.Site", models.DO_NOTHING, null=True, related_name="+", db_constraint=False
    )
    action = models.CharField(
        max_length=8, choices=[("added", "Added"), ("changed", "Changed"), ("deleted", "Deleted")]
    )
    kind = models.CharField(max_length=60, help_text="Such as shop.lot.")
    object_id = models.BigIntegerField()
    name = models.CharField(max_length=200)
    before = models.JSONField(default=dict)
    after = models.JSONField(default=dict)

    class Meta:
        ordering = ["-at", "-id"]
        indexes: ClassVar = [
            models.Index(fields=["kind", "object_id"], name="audit_by_object"),
            models.Index(fields=["site", "at"], name="audit_by_site"),
        ]

    def __str__(self) -> str:
        return f"{self.at:%Y-%m-%d %H:%M} {self.username} {self.action} {self.name}"
