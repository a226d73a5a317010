"""What the API itself remembers: answered keys."""

from __future__ import annotations

from typing import ClassVar

from django.db import models


class IdempotencyKey(models.Model):
    """A request that was carried out, with its answer, so that a repeat gets the same one."""

    principal = models.CharField(max_length=40, help_text="token:ID or user:ID.")
    key = models.CharField(max_length=255)
    fingerprint = models.CharField(max_length=64, help_text="SHA-256 of method, path and body.")
    status = models.PositiveSmallIntegerField(null=True)
    body = models.TextField(blank=True)
    headers = models.JSONField(default=dict)
    created_at = models.DateTimeField(db_index=True)

    class Meta:
        ordering = ["-created_at"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["principal", "key"], name="idempotency_key_once"),
        ]

    def __str__(self) -> str:
        return f"{self.principal} {self.key}"
