"""The mail server that a shop has entered by page."""

from __future__ import annotations

from typing import ClassVar

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q

from shared.sealed import SealedField


class Security(models.TextChoices):
    STARTTLS = "starttls", "STARTTLS (usually port 587)"
    TLS = "tls", "TLS from the start (usually port 465)"
    NONE = "none", "none: only for a server in this house"


class MailServer(models.Model):
    """The one server that mail leaves by; an empty host means that none does."""

    host = models.CharField(max_length=200, blank=True)
    port = models.PositiveIntegerField(
        default=587, validators=[MinValueValidator(1), MaxValueValidator(65535)]
    )
    security = models.CharField(max_length=8, choices=Security.choices, default=Security.STARTTLS)
    username = models.CharField(max_length=200, blank=True)
    password = SealedField(blank=True)
    sender = models.EmailField(blank=True)
    tried_at = models.DateTimeField(null=True, blank=True)
    outcome = models.CharField(max_length=300, blank=True)
    version = models.PositiveIntegerField(default=1, editable=False)

    class Meta:
        constraints: ClassVar = [
            models.CheckConstraint(condition=Q(pk=1), name="mailserver_one_row"),
            models.CheckConstraint(
                condition=Q(host="") | ~Q(sender=""),
                name="mailserver_has_sender",
                violation_error_message="Give the sender's address.",
            ),
        ]

    def __str__(self) -> str:
        return self.host or "no mail server"
